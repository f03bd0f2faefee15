"""North American route signalling: the aspect says whether the route diverges, and how far it is clear."""

from __future__ import annotations

from typing import Final

from bridge.layout.rules.book import Evidence, Plate, RuleRow, RuleSet

_CARDS: Final = (
    "name and indication from crew study cards of a GCOR railroad; lights common practice, no source"
)


def _row(name: str, *lights: str, plate: Plate = Plate.EITHER) -> RuleRow:
    return RuleRow(name, lights, Evidence.MEMORY, _CARDS, plate)


ROUTE_SIGNALS: Final = RuleSet(
    name="route-signals",
    title="North American route signalling, one to three heads",
    rows=(
        _row("stop", "red / red / red", "red / red", "red", plate=Plate.WITHOUT),
        _row("stop-and-proceed", "red / red / red", "red / red", "red", plate=Plate.WITH),
        _row("restricting", "red / red / lunar", "red / lunar", "lunar"),
        _row("diverging-approach", "red / yellow / red", "red / yellow"),
        _row("diverging-approach-diverging", "red / yellow / yellow"),
        _row("diverging-approach-medium", "red / flashing yellow / red", "red / flashing yellow"),
        _row("diverging-clear", "red / green / red", "red / green"),
        _row("approach", "yellow / red / red", "yellow / red", "yellow"),
        _row("approach-restricting", "yellow / lunar / red", "yellow / lunar"),
        _row("approach-diverging", "yellow / yellow / red", "yellow / yellow"),
        # Yellow over yellow is approach diverging here, so advance approach has to flash.
        _row("advance-approach", "flashing yellow / red / red", "flashing yellow / red", "flashing yellow"),
        _row("approach-medium", "yellow / green / red", "yellow / green"),
        _row("approach-limited", "yellow / flashing green / red", "yellow / flashing green"),
        _row("clear", "green / red / red", "green / red", "green"),
    ),
    sequence=("stop", "approach", "clear"),
)
