"""From light to bytes on the data line."""
