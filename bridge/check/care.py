"""What flashes in a way that can harm people, told as warnings with what to do about it (WCAG 2.2, 2.3.1)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from bridge.layout.findings import Finding, Mark, said, warning
from bridge.light.care import MOST_A_SECOND, flicker
from bridge.light.tapes import Score

LARGE: Final = 24
"""Lamps of one chain that flash together from which on they are taken for a large area; a red one counts twice.

WCAG means a quarter of any ten degrees that are looked at, which for lamps depends on what they light up; so this
figure is our own.
"""

RED_COUNTS: Final = 2

CAUTION: Final = "more than 3 flashes a second can bring on a seizure"


class Watched(NamedTuple):
    """One device that plays an effect.

    Attributes:
        name: what it is called.
        mark: its place in the layout file.
        scores: what each of its lamps plays.
        colours: for each lamp the one colour that it has, or empty where it mixes what is asked for.
        chains: for each lamp the chain that it hangs on.
    """

    name: str
    mark: Mark
    scores: Sequence[Score]
    colours: Sequence[str]
    chains: Sequence[str]


def look_at_care(devices: Iterable[Watched]) -> Iterator[Finding]:
    """Yield a warning for each device that flashes too fast, and for each large group of lamps that flash together."""
    together: dict[tuple[str, Score], list[tuple[Watched, int]]] = {}
    for device in devices:
        yield from _too_fast(device)
        for lamp, score in enumerate(device.scores):
            if flicker(score, device.colours[lamp]).of_all:
                begins = score.shift % score.tape.period if score.tape.loops else score.shift
                key = (device.chains[lamp], Score(score.tape, (), begins))
                together.setdefault(key, []).append((device, lamp))
    for (chain, _score), lamps in together.items():
        yield from _large(chain, lamps)


def _too_fast(device: Watched) -> Iterator[Finding]:
    found = [flicker(score, colour) for score, colour in zip(device.scores, device.colours, strict=True)]
    fast = [each for each in found if each.too_fast]
    if fast:
        most = max(each.in_a_second for each in fast)
        red = ", and of red light, which is the most harmful," if any(each.red for each in fast) else ""
        yield warning(
            device.mark,
            f"{said(device.name)} flashes {most} times in a second{red} and {CAUTION}: write a slower rate, or another "
            f"effect with {MOST_A_SECOND} at the most, and say so to visitors where it stays",
        )


def _large(chain: str, lamps: list[tuple[Watched, int]]) -> Iterator[Finding]:
    weight = sum(
        RED_COUNTS if flicker(device.scores[lamp], device.colours[lamp]).red else 1 for device, lamp in lamps
    )
    if weight < LARGE:
        return
    first = lamps[0][0]
    names = list(dict.fromkeys(device.name for device, _lamp in lamps))
    whose = said(names[0]) if len(names) == 1 else f"{said(names[0])} and {len(names) - 1} other devices"
    red = ", red ones counted twice" if weight > len(lamps) else ""
    yield warning(
        first.mark,
        f"{len(lamps)} lamps of chain {chain} flash together ({whose}{red}), and a large area that flashes can harm "
        "people: let them begin apart, or use fewer",
    )
