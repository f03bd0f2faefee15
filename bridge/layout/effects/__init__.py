"""Effects of lights: their words in the layout file, and what they are made of once these are read."""
