"""What there is to count in a session."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any, Final

from bridge.events import Instant

PERCENTILES: Final = (50, 90, 99, 100)

_DIGITS: Final = 3
"""Digits of a time that are kept: there are so few different ones then that all of them can be counted."""


def rounded(time: int) -> int:
    """Return a time in its first three digits, rounded up, so that no figure is better than it was."""
    unit = int("1" + "0" * max(len(str(time)) - _DIGITS, 0))
    return -(-time // unit) * unit


@dataclass(slots=True)
class Statistics:
    """What was counted.

    Attributes:
        length: nanoseconds that this is about.
        events: how many there were, by source and kind of event.
        refused: inputs that meant nothing, by source.
        repeats: events that were taken for repeats, by source.
        changes: changes of aspect, by device; devices without any are in it.
        busiest: wall time of the minute with most events, and how many these were; None where there were none.
        took: how often it took how long, in nanoseconds, from an input that changed light at once until all of its
            frames were with their outputs.
        frames: how many frames were made.
    """

    length: Instant = 0
    events: dict[str, Counter[str]] = field(default_factory=dict)
    refused: Counter[str] = field(default_factory=Counter)
    repeats: Counter[str] = field(default_factory=Counter)
    changes: dict[str, int] = field(default_factory=dict)
    busiest: tuple[str, int] | None = None
    took: Counter[int] = field(default_factory=Counter)
    frames: int = 0

    @property
    def measured(self) -> int:
        """How many inputs `took` is about."""
        return self.took.total()

    def percentile(self, share: int) -> int | None:
        """Return the time within which so many of a hundred inputs had their frames; None where nobody measured.

        This is the nearest-rank method: the smallest time that at least this share of all does not exceed.
        """
        rank = -(-self.measured * share // 100)
        passed = 0
        for time, number in sorted(self.took.items()):
            passed += number
            if passed >= rank:
                return time
        return None

    def to_data(self) -> dict[str, Any]:
        """Return everything as plain data for JSON."""
        busiest = None if self.busiest is None else {"minute": self.busiest[0], "events": self.busiest[1]}
        return {
            "length": self.length,
            "events": {source: dict(kinds) for source, kinds in self.events.items()},
            "refused": dict(self.refused),
            "repeats": dict(self.repeats),
            "changes": dict(self.changes),
            "busiest minute": busiest,
            "frames": self.frames,
            "latency": {
                "inputs": self.measured,
                "nanoseconds": {str(share): self.percentile(share) for share in PERCENTILES}
                if self.took
                else {},
            },
        }


def time_text(time: int) -> str:
    """Return nanoseconds in the unit that suits them."""
    if time < 1_000_000:
        return f"{time / 1000:.3g} µs"
    if time < 1_000_000_000:
        return f"{time / 1_000_000:.3g} ms"
    return f"{time / 1_000_000_000:.3g} s"


LATENCY: Final = "from an input's arrival until all of its frames were with their outputs"
"""What the times are measured between."""


def latency_text(found: Statistics) -> str:
    """Return what can be said of latency, in a sentence."""
    if not found.took:
        return (
            "The log has no times that steps took: it comes from an older lamproom or from a table, or no input "
            "changed a lamp."
        )
    said = ", ".join(
        f"{'at most' if share == 100 else f'{share} % within'} {time_text(found.percentile(share) or 0)}"
        for share in PERCENTILES
    )
    return f"Latency {LATENCY}: {said} ({found.measured} inputs)."
