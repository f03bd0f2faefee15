"""Colour-light signals of Great Britain, with the junction indicator and the shunting signal."""

from __future__ import annotations

from typing import Final

from bridge.layout.rules.book import Evidence, RuleRow, RuleSet

_GLOSSARY: Final = "Network Rail glossary, four-aspect signal"
_FORUM: Final = "the rule book as quoted in a railway forum"
_COMMON: Final = "common practice, no source"

_DANGER: Final = RuleRow("danger", ("red",), Evidence.SEEN, _GLOSSARY)
_CAUTION: Final = RuleRow("caution", ("yellow",), Evidence.SEEN, _GLOSSARY)
_CLEAR: Final = RuleRow("clear", ("green",), Evidence.SEEN, _GLOSSARY)

GB_THREE_ASPECT: Final = RuleSet(
    name="gb-three-aspect",
    title="Great Britain, three aspects; lamps green, yellow, red",
    rows=(_DANGER, _CAUTION, _CLEAR),
    sequence=("danger", "caution", "clear"),
)

GB_FOUR_ASPECT: Final = RuleSet(
    name="gb-four-aspect",
    title="Great Britain, four aspects; lamps upper-yellow, green, yellow, red from the top down",
    rows=(
        _DANGER,
        _CAUTION,
        RuleRow("flashing-single-yellow", ("flashing yellow",), Evidence.SECOND_HAND, _FORUM),
        RuleRow("preliminary-caution", ("upper-yellow + yellow",), Evidence.SEEN, _GLOSSARY),
        RuleRow(
            "flashing-double-yellow",
            ("flashing upper-yellow + flashing yellow",),
            Evidence.SECOND_HAND,
            _FORUM,
        ),
        _CLEAR,
    ),
    sequence=("danger", "caution", "preliminary-caution", "clear"),
)

JUNCTION_INDICATOR: Final = RuleSet(
    name="junction-indicator",
    title="Great Britain, junction indicator; lamps first-white to fifth-white",
    rows=(
        RuleRow("dark", ("dark",), Evidence.MEMORY, _COMMON),
        RuleRow(
            "diverging",
            ("first-white + second-white + third-white + fourth-white + fifth-white",),
            Evidence.MEMORY,
            _COMMON,
        ),
    ),
)

POSITION_LIGHT_SHUNT: Final = RuleSet(
    name="position-light-shunt",
    title="Great Britain, position-light shunting signal; lamps left-red, right-red, left-white, upper-white",
    rows=(
        RuleRow("stop", ("left-red + right-red",), Evidence.MEMORY, _COMMON),
        RuleRow("proceed-at-caution", ("left-white + upper-white",), Evidence.MEMORY, _COMMON),
    ),
)
