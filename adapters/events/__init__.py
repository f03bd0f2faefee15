"""Event sources: one file for each kind of bus."""
