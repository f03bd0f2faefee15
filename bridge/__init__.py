"""The bridge between a layout's events and the frames its LED chains show."""

__version__ = "0.1.0"
