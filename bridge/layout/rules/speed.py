"""North American speed signalling: the aspect says how fast, and the rule numbers of the eastern family order it.

A row of lights is not the property of one rule book: red over yellow is restricting here and diverging approach in
route signalling, and green over red is clear on a high signal and slow clear on a dwarf. So each has its own set.
"""

from __future__ import annotations

from typing import Final

from bridge.layout.rules.book import Evidence, Plate, RuleRow, RuleSet

_NAMES: Final = "name of rule {} as in NORAC, 8th edition"
_SEEN: Final = f"{_NAMES}; lights from crew training notes"
_MEMORY: Final = f"{_NAMES}; lights common practice, no source"
_KNOWN: Final = "rule {} by common practice; lights from crew training notes"
_COMMON: Final = "rule {} and lights common practice, no source"
_PLATE: Final = "rule 291: lights of stop, the number plate tells them apart: crew training notes"


def _row(number: str, name: str, source: str, *lights: str) -> RuleRow:
    sure = source in (_SEEN, _KNOWN)
    return RuleRow(name, lights, Evidence.SECOND_HAND if sure else Evidence.MEMORY, source.format(number))


SPEED_SIGNALS: Final = RuleSet(
    name="speed-signals",
    title="North American speed signalling, high signals of one to three heads",
    rows=(
        RuleRow(
            "stop",
            ("red / red / red", "red / red", "red"),
            Evidence.MEMORY,
            "rule 292; lights by 49 CFR 236.23(d)(1) and common practice",
            Plate.WITHOUT,
        ),
        RuleRow(
            "stop-and-proceed",
            ("red / red / red", "red / red", "red"),
            Evidence.SECOND_HAND,
            _PLATE,
            Plate.WITH,
        ),
        # On one head yellow is approach, so restricting has to be lunar there.
        _row("290", "restricting", _COMMON, "red / red / yellow", "red / yellow", "lunar"),
        _row("288", "slow-approach", _KNOWN, "red / red / flashing yellow"),
        _row("287", "slow-clear", _KNOWN, "red / red / green"),
        _row("286", "medium-approach", _KNOWN, "red / flashing yellow / red", "red / flashing yellow"),
        _row("285", "approach", _COMMON, "yellow / red / red", "yellow / red", "yellow"),
        _row("284", "approach-slow", _KNOWN, "yellow / red / green", "yellow / yellow"),
        _row("283a", "medium-approach-medium", _SEEN, "red / yellow / green"),
        _row("283", "medium-clear", _SEEN, "red / green / red", "red / green"),
        _row(
            "282a",
            "advance-approach",
            _SEEN,
            "flashing yellow / red / red",
            "flashing yellow / red",
            "flashing yellow",
        ),
        _row("282", "approach-medium", _SEEN, "yellow / green / red", "yellow / green"),
        _row(
            "281c",
            "limited-clear",
            _SEEN,
            "red / flashing green / red",
            "red / flashing green",
            "flashing green",
        ),
        _row("281b", "approach-limited", _SEEN, "yellow / flashing green / red", "yellow / flashing green"),
        _row("281a", "cab-speed", _SEEN, "flashing green / red / red", "flashing green / red"),
        _row("281", "clear", _MEMORY, "green / red / red", "green / red", "green"),
    ),
    sequence=("stop", "approach", "clear"),
)

SPEED_DWARFS: Final = RuleSet(
    name="speed-dwarfs",
    title="North American speed signalling, dwarf signals of one or two heads",
    rows=(
        RuleRow(
            "stop",
            ("red / red", "red"),
            Evidence.MEMORY,
            "rule 292; lights by 49 CFR 236.23(d)(1) and common practice",
            Plate.WITHOUT,
        ),
        RuleRow("stop-and-proceed", ("red / red", "red"), Evidence.SECOND_HAND, _PLATE, Plate.WITH),
        # One member railroad has a single yellow dwarf for restricting; here it is approach, and lunar restricts.
        _row("290", "restricting", _COMMON, "red / yellow", "lunar"),
        _row("288", "slow-approach", _KNOWN, "yellow / red", "flashing yellow"),
        _row("287", "slow-clear", _KNOWN, "green / red"),
        _row("286", "medium-approach", _KNOWN, "yellow / flashing red"),
        _row("285", "approach", _COMMON, "yellow"),
        _row("284", "approach-slow", _KNOWN, "yellow / yellow"),
        _row("283", "medium-clear", _SEEN, "green / flashing red"),
        _row("282", "approach-medium", _SEEN, "yellow / green"),
        _row("281c", "limited-clear", _SEEN, "flashing green / red", "flashing green"),
        _row("281b", "approach-limited", _SEEN, "yellow / flashing green"),
        _row("281", "clear", _COMMON, "green"),
    ),
)
