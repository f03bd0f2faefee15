"""Effects for tests: read from the words of a layout file, and played as frames are."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from bridge.events import SECOND
from bridge.layout.effects.families import Effect
from bridge.layout.effects.read import read_effect
from bridge.layout.entries import Desk
from bridge.layout.text import parse
from bridge.light.chance import seed_of
from bridge.light.effects import compose
from bridge.light.tapes import UNIT, Score

FRAME: Final = SECOND // 50

TEN_MINUTES: Final = 600 * SECOND


def lamps_of(number: int) -> tuple[str, ...]:
    """Return the names of so many lamps."""
    return tuple(f"post.{place}" for place in range(1, number + 1))


def read(text: str, lamps: Sequence[str] = ("post.lamp",)) -> tuple[Effect | None, list[str]]:
    """Read what stands behind `effect:`, and return it with what was found, as `LINE:COLUMN: message`."""
    document = parse(text)
    desk = Desk(document)
    effect = read_effect(desk, document.data["effect"], ("effect",), lamps)
    return effect, [f"{each.mark.line}:{each.mark.column}: {each.message}" for each in desk.findings]


def effect_of(text: str, lamps: Sequence[str] = ("post.lamp",)) -> Effect:
    """Return an effect that has no error."""
    effect, found = read(f"effect: {text}", lamps)
    assert effect is not None, found
    assert [] == found
    return effect


def scores_of(text: str, lamps: int = 1, device: str = "device") -> tuple[Score, ...]:
    """Return what each of so many lamps plays."""
    return compose(effect_of(text, lamps_of(lamps)), lamps, seed_of(device))


def light(score: Score, at: int) -> int:
    """Return the light of a lamp at an instant after its device was switched on."""
    tape, since = score.tape, at - score.shift
    if tape.loops:
        return tape.samples[since % tape.period * len(tape.samples) // tape.period]
    return tape.samples[max(0, min(len(tape.samples) - 1, since * len(tape.samples) // tape.period))]


def frames(score: Score, time: int = TEN_MINUTES) -> list[int]:
    """Return the light of each frame, fifty a second."""
    return [light(score, at) for at in range(0, time, FRAME)]


def rises(levels: Sequence[int], above: int = UNIT // 2) -> int:
    """Return how often the light comes up through a level."""
    return sum(before < above <= after for before, after in pairwise(levels))


def runs(levels: Sequence[int]) -> list[tuple[bool, int]]:
    """Return how many frames it is lit and dark, by turns, without the first and the last of them."""
    found = list[list[Any]]()
    for level in levels:
        lit = level > 0
        if found and found[-1][0] == lit:
            found[-1][1] += 1
        else:
            found.append([lit, 1])
    return [(lit, number) for lit, number in found[1:-1]]
