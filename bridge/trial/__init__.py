"""What is tried out on the layout: lamps, what was built anew, and the wiring. Aspects are never touched."""
