"""A session as a picture: what came in, what every device showed for it, and what there is to count."""
