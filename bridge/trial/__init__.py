"""Trying lamps and wiring out: levels laid over frames, and nothing else touched."""
