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
        sections: for each section the gates that have it: one, unless the file was changed before a restart.
        kept: the gates whose route was locked before a restart.
    """

    def __init__(self) -> None:
        self.turnouts: dict[int, dict[str, Position]] = {}
        self.sections: dict[str, list[str]] = {}
        self.kept: set[str] = set()

    def lock(self, gate: str, route: Route) -> None:
        """Lock all of a route."""
        for number, position in (*route.turnouts, *route.flank):
            self.turnouts.setdefault(number, {})[gate] = position
        for section in route.sections:
            self.sections.setdefault(section, []).append(gate)

    def release(self, gate: str, turnouts: Iterable[int], sections: Iterable[str]) -> None:
        """Let go of some of it; what nobody keeps is forgotten, so that it is as if it had never been kept."""
        for number in turnouts:
            kept = self.turnouts.get(number, {})
            kept.pop(gate, None)
            if not kept:
                self.turnouts.pop(number, None)
        for section in sections:
            gates = self.sections.get(section, [])
            if gate in gates:
                gates.remove(gate)
            if not gates:
                self.sections.pop(section, None)

    def holder(self, gate: str, route: Route) -> str:
        """Return which other gate keeps something that a route needs, in words, or nothing."""
        for section in route.sections:
            other = self.keeper(section, gate)
            if other:
                return f"block {section} is locked by {self.whose(other)}"
        for number, position in (*route.turnouts, *route.flank):
            other = self.against(number, position, gate)
            if other:
                return f"accessory {number} is locked {_OTHER[position].value} by {self.whose(other)}"
        return ""

    def whose(self, gate: str) -> str:
        """Return by what a gate keeps something, in words."""
        return f"a route from {gate}{', since before the restart' if gate in self.kept else ''}"

    def keeper(self, section: str, gate: str) -> str:
        """Return which gate other than this one has a section, or nothing."""
        return next((other for other in self.sections.get(section, ()) if other != gate), "")

    def against(self, number: int, position: Position, gate: str) -> str:
        """Return which gate other than this one keeps a turnout in the other position, or nothing."""
        for other, kept in self.turnouts.get(number, {}).items():
            if other != gate and kept is not position:
                return other
        return ""


_OTHER: Final = {Position.NORMAL: Position.REVERSE, Position.REVERSE: Position.NORMAL}
