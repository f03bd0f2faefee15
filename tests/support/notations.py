"""Light characters by chance: every legal one, from the grammar, with a period that it has room in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

from hypothesis import strategies as st

from bridge.layout.effects.characters import COLOURS
from bridge.layout.effects.morse import MORSE, length

SEPARATORS = st.sampled_from(["", " ", ".", ". ", "  "])


class Written(NamedTuple):
    """A legal character and what it means.

    Attributes:
        text: the notation.
        rhythm: its class.
        flashes: flashes or eclipses in one period, in one colour.
        colours: its colours.
        alternating: whether they come by turns.
        period: hundredths of a second, or None if it is not written.
        letters: what is given in Morse code.
        long: whether a long flash follows the quick ones.
    """

    text: str
    rhythm: str
    flashes: int
    colours: tuple[str, ...]
    alternating: bool
    period: int | None
    letters: str
    long: bool


# The shortest period, in hundredths of a second, of a group of n.
_LEAST: Final[dict[str, Callable[[int], int]]] = {
    "Fl": lambda flashes: 121 if flashes == 1 else 200 * flashes,
    "FFl": lambda flashes: 121 if flashes == 1 else 200 * flashes,
    "LFl": lambda _flashes: 401,
    "Oc": lambda flashes: 120 * flashes,
    "Iso": lambda _flashes: 40,
    "F": lambda _flashes: 40,
    "Q": lambda flashes: 100 * (flashes + 1),
    "VQ": lambda flashes: 50 * (flashes + 1),
    "UQ": lambda flashes: 25 * (flashes + 1),
    "IQ": lambda _flashes: 600,
    "IVQ": lambda _flashes: 450,
    "IUQ": lambda _flashes: 375,
}
_SINGLE_QUICK = {"Q": (76, 120), "VQ": (38, 75), "UQ": (20, 37)}


@st.composite
def notations(draw: st.DrawFn) -> Written:
    """Return any legal light character."""
    rhythm = draw(st.sampled_from([*_LEAST, "Mo"]))
    alternating = rhythm in ("F", "Fl", "LFl", "Oc", "Iso") and draw(st.booleans())
    names = draw(
        st.lists(st.sampled_from(list(COLOURS)), unique=True, min_size=2 if alternating else 0, max_size=3)
    )
    group = draw(_groups(rhythm))
    flashes = sum(group)
    long = rhythm in ("Q", "VQ", "UQ") and flashes > 1 and draw(st.booleans())
    letters = draw(st.text(st.sampled_from(sorted(MORSE)), min_size=1, max_size=4)) if rhythm == "Mo" else ""
    period = _period(draw, rhythm, flashes, letters, turns=len(names) if alternating else 1, long=long)
    if rhythm == "F" and not alternating:
        period = None
    brackets = f"({letters})" if letters else f"({'+'.join(map(str, group))})" if group != [1] else ""
    fixed = rhythm == "F" and alternating and draw(st.booleans())
    seconds = "" if period is None else f"{period // 100}.{period % 100:02}s"
    if period is not None and period % 100 == 0 and draw(st.booleans()):
        seconds = f"{period // 100}s"
    parts = [
        "Al" if alternating else "",
        ("" if fixed else rhythm) + brackets + ("+LFl" if long else ""),
        "".join(names),
        seconds,
    ]
    text = ""
    for part in parts:
        if part:
            text += (draw(SEPARATORS) if text else "") + part
    return Written(
        text, rhythm, flashes, tuple(COLOURS[each] for each in names), alternating, period, letters, long
    )


@st.composite
def _groups(draw: st.DrawFn, rhythm: str) -> list[int]:
    if rhythm in ("Fl", "FFl", "Oc"):
        group = draw(st.lists(st.integers(1, 3), min_size=1, max_size=3))
        return group if sum(group) > 1 else [1]
    if rhythm in ("Q", "VQ", "UQ"):
        return [draw(st.sampled_from([1, 2, 3, 6, 9]))]
    return [1]


def _period(
    draw: st.DrawFn, rhythm: str, flashes: int, letters: str, *, turns: int, long: bool
) -> int | None:
    if rhythm == "Mo":
        least = (length(letters) + 7) * 10
        return draw(st.none() | st.integers(least, 6000)) if least <= 6000 else None
    if rhythm in _SINGLE_QUICK and flashes == 1:
        return draw(st.none() | st.integers(*_SINGLE_QUICK[rhythm]))
    least = _LEAST[rhythm](flashes) + (400 if long else 0)
    # Turns may differ by a hundredth, and each has to have room.
    return draw(st.integers(min(6000, (least + 1) * turns), 6000))
