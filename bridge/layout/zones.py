"""Zones: lights that are dimmed together, as the layout file has them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bridge.layout.conditions import Condition
from bridge.layout.findings import Mark

LEAST_OF_SIGNALS: Final = 6554
"""Level below which a zone with signals is never dimmed, a tenth of full light: no aspect may go out unseen."""


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """One row of a zone: its level while a condition holds, 16-bit linear."""

    when: Condition
    level: int


@dataclass(frozen=True, slots=True)
class Zone:
    """Lights that are dimmed together.

    Attributes:
        name: as lights and signals name it.
        level: of all its light while no row holds, 16-bit linear.
        change: nanoseconds that it takes to come to another level.
        rows: the first whose condition holds counts.
        mark: its place in the file.
    """

    name: str
    level: int
    change: int
    rows: tuple[ZoneRow, ...]
    mark: Mark
