"""Everything that can be said of a layout file without driving it."""

from bridge.check.file import Checked, check_text

__all__ = ["Checked", "check_text"]
