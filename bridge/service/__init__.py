"""The only room that touches the clock, the network and the disk."""
