"""What the routes of interlocked signals keep for themselves."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from bridge.events import Position
from bridge.layout.routes import Route


class Locks:
    """Who keeps what: turnouts with the position in which they are kept, and sections.

    Attributes:
        turnouts: for each turnout the gates that lock it, by signal, with the position.
        sections: for each section the gate that has it.
    """

    def __init__(self) -> None:
        self.turnouts: dict[int, dict[str, Position]] = {}
        self.sections: dict[str, str] = {}

    def lock(self, gate: str, route: Route) -> None:
        """Lock all of a route."""
        for number, position in (*route.turnouts, *route.flank):
            self.turnouts.setdefault(number, {})[gate] = position
        self.sections.update(dict.fromkeys(route.sections, gate))

    def release(self, gate: str, turnouts: Iterable[int], sections: Iterable[str]) -> None:
        """Let go of some of it."""
        for number in turnouts:
            self.turnouts.get(number, {}).pop(gate, None)
        for section in sections:
            if self.sections.get(section) == gate:
                del self.sections[section]

    def holder(self, gate: str, route: Route) -> str:
        """Return which other gate keeps something that a route needs, in words, or nothing."""
        for section in route.sections:
            other = self.keeper(section, gate)
            if other:
                return f"block {section} is locked by a route from {other}"
        for number, position in (*route.turnouts, *route.flank):
            other = self.against(number, position, gate)
            if other:
                return f"accessory {number} is locked {_OTHER[position].value} by a route from {other}"
        return ""

    def keeper(self, section: str, gate: str) -> str:
        """Return which gate other than this one has a section, or nothing."""
        other = self.sections.get(section, "")
        return "" if other == gate else other

    def against(self, number: int, position: Position, gate: str) -> str:
        """Return which gate other than this one keeps a turnout in the other position, or nothing."""
        for other, kept in self.turnouts.get(number, {}).items():
            if other != gate and kept is not position:
                return other
        return ""


_OTHER: Final = {Position.NORMAL: Position.REVERSE, Position.REVERSE: Position.NORMAL}
