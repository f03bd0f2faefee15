"""The aspects of a one-headed signal that names no others."""

from __future__ import annotations

from typing import Final

from bridge.layout.rules.book import Evidence, Plate, RuleRow, RuleSet

_FEDERAL: Final = "49 CFR 236.23(d)"
_PLATE: Final = "lights of stop; the number plate tells them apart: crew training notes"

PLAIN: Final = RuleSet(
    name="plain",
    title="one head: red for stop, lunar or yellow for what may require a stop, green for proceed",
    rows=(
        RuleRow("stop", ("red",), Evidence.SEEN, f"{_FEDERAL}(1)", Plate.WITHOUT),
        RuleRow("stop-and-proceed", ("red",), Evidence.SECOND_HAND, _PLATE, Plate.WITH),
        RuleRow("restricting", ("lunar",), Evidence.SEEN, f"{_FEDERAL}(2)"),
        RuleRow("approach", ("yellow",), Evidence.SEEN, f"{_FEDERAL}(2)"),
        RuleRow("clear", ("green",), Evidence.SEEN, f"{_FEDERAL}(3)"),
    ),
    sequence=("stop", "approach", "clear"),
)
