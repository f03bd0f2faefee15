"""What is told of a chain's counters: what has changed, and that once a second at the most."""

from __future__ import annotations

from dataclasses import Field, asdict, replace
from typing import Any, ClassVar, Final, Protocol

from adapters.contract import ChainPlace, OutputHost
from adapters.outputs.pace import NEVER
from bridge.events import SECOND, Instant

FIGURES_EVERY: Final = 1 * SECOND


class Counted(Protocol):
    """A dataclass of whole numbers that is counted up in place."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]


class Figures:
    """What was last told of one chain, and when more may be told.

    Args:
        host: who publishes it.
        place: the chain.
        counters: its own; they must be fresh, since nothing is told of what was never counted.
    """

    __slots__ = ("_counters", "_from", "_host", "_place", "_told")

    def __init__(self, host: OutputHost, place: ChainPlace, counters: Counted) -> None:
        self._host = host
        self._place = place
        self._counters = counters
        self._told = replace(counters)
        self._from: Instant = 0

    def tell(self, now: Instant) -> Instant:
        """Tell what has changed, and return when the next change may be told, or `NEVER` where there is none."""
        if self._told == self._counters:
            return NEVER
        if now < self._from:
            return self._from
        self._told = replace(self._counters)
        self._from = now + FIGURES_EVERY
        self._host.figures(self._place, **asdict(self._told))
        return NEVER
