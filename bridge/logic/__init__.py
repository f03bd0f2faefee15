"""From events to aspects: what each device listens to, and what it makes of it."""
