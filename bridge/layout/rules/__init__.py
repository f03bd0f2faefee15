"""The sets of aspects that come with lamproom, one for each rule book, as data with what each row rests on."""

from __future__ import annotations

from typing import Final

from bridge.layout.rules.book import RuleSet
from bridge.layout.rules.britain import (
    GB_FOUR_ASPECT,
    GB_THREE_ASPECT,
    JUNCTION_INDICATOR,
    POSITION_LIGHT_SHUNT,
)
from bridge.layout.rules.germany import HP_EXIT_SIGNALS, HP_SIGNALS, KS_SIGNALS, VR_SIGNALS
from bridge.layout.rules.plain import PLAIN
from bridge.layout.rules.route import ROUTE_SIGNALS
from bridge.layout.rules.speed import SPEED_DWARFS, SPEED_SIGNALS

RULE_SETS: Final[dict[str, RuleSet]] = {
    each.name: each
    for each in (
        PLAIN,
        SPEED_SIGNALS,
        SPEED_DWARFS,
        ROUTE_SIGNALS,
        GB_THREE_ASPECT,
        GB_FOUR_ASPECT,
        JUNCTION_INDICATOR,
        POSITION_LIGHT_SHUNT,
        HP_SIGNALS,
        HP_EXIT_SIGNALS,
        VR_SIGNALS,
        KS_SIGNALS,
    )
}
"""Every set by the name that a layout file calls it by."""

RULE_WORDS: Final = frozenset(
    each.word
    for rules in RULE_SETS.values()
    for row in rules.rows
    for heads in row.forms()
    for head in heads
    for each in head
)
"""Every lamp or colour that a row of these asks for."""
