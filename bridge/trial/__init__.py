"""Trying out what is wired: levels are laid over others, and aspects are never touched."""
