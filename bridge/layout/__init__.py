"""What the owner wrote down: reading the layout file, with the line of every mistake in it."""

from bridge.layout.findings import Finding, Level, Mark
from bridge.layout.model import Layout
from bridge.layout.read import read_layout

__all__ = ["Finding", "Layout", "Level", "Mark", "read_layout"]
