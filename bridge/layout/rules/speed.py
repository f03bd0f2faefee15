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


def _high(number: str, name: str, source: str, *lights: str) -> RuleRow:
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
        _high("290", "restricting", _COMMON, "red / red / yellow", "red / yellow", "lunar"),
        _high("288", "slow-approach", _KNOWN, "red / red / flashing yellow"),
        _high("287", "slow-clear", _KNOWN, "red / red / green"),
        _high("286", "medium-approach", _KNOWN, "red / flashing yellow / red", "red / flashing yellow"),
        _high("285", "approach", _COMMON, "yellow / red / red", "yellow / red", "yellow"),
        _high("284", "approach-slow", _KNOWN, "yellow / red / green", "yellow / yellow"),
        _high("283a", "medium-approach-medium", _SEEN, "red / yellow / green"),
        _high("283", "medium-clear", _SEEN, "red / green / red", "red / green"),
        _high(
            "282a",
            "advance-approach",
            _SEEN,
            "flashing yellow / red / red",
            "flashing yellow / red",
            "flashing yellow",
        ),
        _high("282", "approach-medium", _SEEN, "yellow / green / red", "yellow / green"),
        _high(
            "281c",
            "limited-clear",
            _SEEN,
            "red / flashing green / red",
            "red / flashing green",
            "flashing green",
        ),
        _high("281b", "approach-limited", _SEEN, "yellow / flashing green / red", "yellow / flashing green"),
        _high("281a", "cab-speed", _SEEN, "flashing green / red / red", "flashing green / red"),
        _high("281", "clear", _MEMORY, "green / red / red", "green / red", "green"),
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
        _high("290", "restricting", _COMMON, "red / yellow", "lunar"),
        _high("288", "slow-approach", _KNOWN, "yellow / red", "flashing yellow"),
        _high("287", "slow-clear", _COMMON, "green / red"),
        _high("286", "medium-approach", _KNOWN, "yellow / flashing red"),
        _high("285", "approach", _COMMON, "yellow"),
        _high("284", "approach-slow", _KNOWN, "yellow / yellow"),
        _high("283", "medium-clear", _SEEN, "green / flashing red"),
        _high("282", "approach-medium", _SEEN, "yellow / green"),
        _high("281c", "limited-clear", _SEEN, "flashing green / red", "flashing green"),
        _high("281b", "approach-limited", _SEEN, "yellow / flashing green"),
        _high("281", "clear", _COMMON, "green"),
    ),
)
