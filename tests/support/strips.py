"""Light over time as a picture: one lane for each lamp, as high as it is light and in its colour."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from bridge.events import MILLISECOND, SECOND
from bridge.light.lightness import STEPS, step_of_linear
from bridge.light.tapes import UNIT, Score
from tests.support.playing import light

Rgb = tuple[int, int, int]

WIDTH: Final = 760
LEFT: Final = 112
RIGHT: Final = 16
TOP: Final = 34
LANE: Final = 26
GAP: Final = 4
BOTTOM: Final = 26
COLUMNS: Final = (WIDTH - LEFT - RIGHT) * 2
"""Instants that are looked at in one picture: two to a pixel."""

PAINT: Final[dict[str, Rgb]] = {
    "white": (255, 252, 240),
    "warm-white": (255, 214, 150),
    "red": (255, 45, 35),
    "green": (40, 220, 120),
    "blue": (70, 110, 255),
    "yellow": (255, 205, 40),
    "amber": (255, 165, 20),
    "orange": (255, 140, 30),
    "violet": (170, 90, 255),
    "sodium": (255, 170, 30),
    "mercury": (200, 255, 235),
    "candle": (255, 150, 50),
}
"""How colours are drawn on a screen; what a lamp is sent is another matter."""

KELVINS: Final = (
    (1000, (255, 70, 0)),
    (2000, (255, 145, 30)),
    (3000, (255, 185, 110)),
    (4000, (255, 215, 165)),
    (5000, (255, 235, 210)),
    (6500, (255, 255, 255)),
    (9000, (215, 228, 255)),
    (20000, (170, 195, 255)),
)

TICKS: Final = tuple(
    tenths * 100 * MILLISECOND for tenths in (1, 2, 5, 10, 20, 30, 50, 100, 150, 300, 600, 1200)
)


class Lane(NamedTuple):
    """One lamp of a picture.

    Attributes:
        label: what stands before it.
        at: its light, 0 to `UNIT`, and its colour, at an instant.
    """

    label: str
    at: Callable[[int], tuple[int, Rgb]]


class Picture(NamedTuple):
    """One picture.

    Attributes:
        name: the file, without its ending.
        title: what stands above it.
        lanes: its lamps.
        time: nanoseconds from its left edge to its right one.
    """

    name: str
    title: str
    lanes: Sequence[Lane]
    time: int


def paint(colour: str) -> Rgb:
    """Return how a colour is drawn, by its name or as `2700 K`."""
    if colour.endswith(" K"):
        kelvin = int(colour.removesuffix(" K"))
        for (low, one), (high, other) in pairwise(KELVINS):
            if kelvin <= high:
                return mixed(one, other, kelvin - low, high - low)
    return PAINT[colour]


def mixed(one: Rgb, other: Rgb, share: int, whole: int) -> Rgb:
    """Return what lies between two colours, mixed in something like linear light."""
    red, green, blue = (
        round(((each * each * (whole - share) + that * that * share) / whole) ** 0.5)
        for each, that in zip(one, other, strict=True)
    )
    return red, green, blue


def lane_of_score(label: str, score: Score, colour: str) -> Lane:
    """Return the lane of a lamp that plays a score; with no colours of its own it has `colour`."""
    hues = [(place, paint(hue)) for place, hue in score.hues] or [(0, paint(colour))]
    tape = score.tape
    number = len(tape.samples)

    def at(instant: int) -> tuple[int, Rgb]:
        since = instant - score.shift
        since = since % tape.period if tape.loops else max(0, min(tape.period - 1, since))
        place = since * number // tape.period
        before = max((each for each in hues if each[0] <= place), default=hues[0])
        after = min((each for each in hues if each[0] > place), default=before)
        if after[0] <= before[0]:
            return light(score, instant), before[1]
        share, whole = place - before[0], after[0] - before[0]
        return light(score, instant), mixed(before[1], after[1], share * 24 // whole, 24)

    return Lane(label, at)


def draw(picture: Picture) -> str:
    """Return a picture as SVG."""
    height = TOP + len(picture.lanes) * (LANE + GAP) + BOTTOM
    floor = TOP + len(picture.lanes) * (LANE + GAP)
    size = f'viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="system-ui, sans-serif" font-size="13">',
        f"<title>{_safe(picture.title)}</title>",
        f'<rect width="{WIDTH}" height="{height}" rx="6" fill="#f4f5f7"/>',
        f'<text x="{RIGHT}" y="22" font-weight="600" fill="#1c2430">{_safe(picture.title)}</text>',
    ]
    for place, tick in enumerate(_ticks(picture.time)):
        x = LEFT + tick * (WIDTH - LEFT - RIGHT) // picture.time
        anchor = "start" if place == 0 else "end" if tick > picture.time * 97 // 100 else "middle"
        parts.append(f'<path d="M{x} {TOP}V{floor + 3}" stroke="#9aa4b2" stroke-width="1"/>')
        parts.append(
            f'<text x="{x}" y="{floor + 17}" text-anchor="{anchor}" font-size="11" fill="#4a5464">'
            f"{_said(tick, picture.time)}</text>"
        )
    for place, lane in enumerate(picture.lanes):
        parts += _lane(lane, TOP + place * (LANE + GAP), picture.time)
    return "\n".join((*parts, "</svg>", ""))


def _lane(lane: Lane, top: int, time: int) -> list[str]:
    floor = top + LANE
    parts = [
        f'<rect x="{LEFT}" y="{top}" width="{WIDTH - LEFT - RIGHT}" height="{LANE}" fill="#161a20"/>',
        f'<text x="{LEFT - 8}" y="{top + 18}" text-anchor="end" fill="#1c2430">{_safe(lane.label)}</text>',
    ]
    pieces = _pieces(lane, time)
    # Where one colour goes over into the next no seam is to be seen between them.
    crisp = ' shape-rendering="crispEdges"' if len({colour for colour, *_rest in pieces}) > 1 else ""
    for colour, first, heights in pieces:
        path = [f"M{_half(2 * LEFT + first)} {floor}"]
        last = -1
        for place, high in enumerate(heights):
            if high != last:
                if place:
                    path.append(f"H{_half(2 * LEFT + first + place)}")
                path.append(f"V{_tenth(10 * floor - high)}")
                last = high
        path.append(f"H{_half(2 * LEFT + first + len(heights))}V{floor}Z")
        red, green, blue = colour
        parts.append(f'<path d="{"".join(path)}" fill="#{red:02x}{green:02x}{blue:02x}"{crisp}/>')
    return parts


def _pieces(lane: Lane, time: int) -> list[tuple[Rgb, int, list[int]]]:
    """Return stretches of one colour: the colour, its first column, and its heights in tenths of a pixel."""
    pieces = list[tuple[Rgb, int, list[int]]]()
    for column in range(COLUMNS):
        level, colour = lane.at(column * time // COLUMNS)
        high = step_of_linear(min(65_535, level * 65_535 // UNIT)) * (LANE - 2) * 10 // STEPS if level else 0
        if not high:
            continue
        if pieces and pieces[-1][0] == colour and pieces[-1][1] + len(pieces[-1][2]) == column:
            pieces[-1][2].append(high)
        else:
            pieces.append((colour, column, [high]))
    return pieces


def _ticks(time: int) -> range:
    step = next((each for each in TICKS if time // each <= 10), TICKS[-1])
    return range(0, time + 1, step)


def _said(tick: int, time: int) -> str:
    """Return an instant as a label, all of one picture in the same unit."""
    return f"{tick / SECOND:g} s" if time <= 120 * SECOND else f"{tick / (60 * SECOND):g} min"


def _half(number: int) -> str:
    return str(number // 2) if number % 2 == 0 else f"{number // 2}.5"


def _tenth(number: int) -> str:
    return f"{number / 10:g}"


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
