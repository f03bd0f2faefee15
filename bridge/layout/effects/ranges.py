"""Values that are held to what is prescribed or usual."""

from __future__ import annotations

from bridge.layout.entries import Desk
from bridge.layout.rules.crossings import Figure
from bridge.layout.text import Path
from bridge.layout.units import seconds


def in_range(desk: Desk, path: Path, what: str, value: int, figure: Figure, *, time: bool = False) -> bool:
    """Return whether a value is one that is prescribed or usual, and note it if it is not."""
    if figure.allows(value):
        return True
    least, most = (
        None if each is None else seconds(each) if time else str(each) for each in (figure.least, figure.most)
    )
    limits = (
        least
        if least == most
        else f"{least} to {most}"
        if least and most
        else f"{least or 0} or more"
        if most is None
        else f"at most {most}"
    )
    desk.error(
        path,
        f"{what} is {limits} by {figure.source}, and {seconds(value) if time else value} lies beyond: change it, "
        "or say `beyond-range: true` if it is meant",
    )
    return False
