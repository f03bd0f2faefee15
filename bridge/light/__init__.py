"""From aspects to light over time: which channels are lit, how brightly, and how one picture becomes the next."""
