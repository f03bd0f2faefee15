"""Frame outputs: one file for each way to a controller."""
