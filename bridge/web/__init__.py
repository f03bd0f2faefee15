"""The page: what every lamp shows now, and why, for any browser on the layout's own network."""
