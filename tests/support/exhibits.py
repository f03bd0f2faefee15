"""What is shown of the effects: each in the words of a layout file, with its lamps and for how long."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple


class Exhibit(NamedTuple):
    """One effect that is shown.

    Attributes:
        name: the file, without its ending.
        title: what stands above it.
        text: what stands behind `effect:`.
        lamps: the names of its lamps, each with its colour behind a colon.
        seconds: how much of it is shown.
        only: the lamps that are shown, where those are not all.
    """

    name: str
    title: str
    text: str
    lamps: Sequence[str]
    seconds: int
    only: Sequence[str] = ()


_ROAD: Final = [
    "main red:red",
    "main amber:amber",
    "main green:green",
    "side red:red",
    "side amber:amber",
    "side green:green",
]
_PROGRAMME: Final = (
    "{kind: programme, steps: [{lit: one, time: 2 s}, {lit: [one, two], time: 1 s}, {lit: dark, time: 1 s}]}"
)
_APPROACHES: Final = (
    "{main: {red: main red, %s: main amber, green: main green, time: 10 s}, "
    "side: {red: side red, %s: side amber, green: side green, time: 6 s}}"
)


def _row(word: str, number: int, colour: str) -> list[str]:
    return [f"{word}{place}:{colour}" for place in range(1, number + 1)]


def _road(rules: str, middle: str = "yellow") -> str:
    return f"{{kind: traffic-lights, rules: {rules}, approaches: {_APPROACHES % (middle, middle)}}}"


EXHIBITS: Final = (
    Exhibit("flash", "flash: 60 a minute, half of it lit", "flash", ["lamp:yellow"], 6),
    Exhibit("alternate", "alternate: two lamps by turns", "alternate", ["left:red", "right:red"], 6),
    Exhibit("strobe", "strobe, single", "strobe", ["lamp:white"], 6),
    Exhibit("strobe-2", "strobe, flashes: 2", "{kind: strobe, flashes: 2}", ["lamp:white"], 6),
    Exhibit("strobe-4", "strobe, flashes: 4", "{kind: strobe, flashes: 4}", ["lamp:white"], 6),
    Exhibit(
        "rotating-beacon",
        "rotating-beacon: four lamps in a ring",
        "rotating-beacon",
        _row("lamp ", 4, "amber"),
        3,
    ),
    Exhibit(
        "emergency-lights",
        "emergency-lights, flashes: 2",
        "{kind: emergency-lights, flashes: 2}",
        ["left:blue", "right:blue"],
        4,
    ),
    Exhibit("hazard-lights", "hazard-lights: 90 a minute", "hazard-lights", ["left:amber", "right:amber"], 6),
    Exhibit(
        "obstruction-lights",
        "obstruction-red: all in step",
        "obstruction-red",
        ["mast 1:red", "mast 2:red"],
        10,
    ),
    Exhibit(
        "runway-end-lights",
        "runway-end-lights: 90 a minute, in step",
        "runway-end-lights",
        ["left:white", "right:white"],
        4,
    ),
    Exhibit(
        "approach-flashers",
        "approach-flashers: two runs a second towards the runway",
        "approach-flashers",
        _row("", 8, "white"),
        2,
    ),
    Exhibit(
        "airport-beacon",
        "airport-beacon: white and green, 24 a minute",
        "airport-beacon",
        ["beacon:white"],
        20,
    ),
    Exhibit(
        "airport-beacon-military",
        "airport-beacon, place: military",
        "{kind: airport-beacon, place: military}",
        ["beacon:white"],
        20,
    ),
    Exhibit(
        "code-beacon", "code-beacon, letters: FH", "{kind: code-beacon, letters: FH}", ["beacon:green"], 20
    ),
    Exhibit("chase", "chase: every third lamp", "chase", _row("lamp ", 6, "white"), 3),
    Exhibit(
        "running-light", "running-light: one spot with a tail", "running-light", _row("lamp ", 8, "amber"), 3
    ),
    Exhibit(
        "to-and-fro",
        "running-light, direction: to-and-fro",
        "{kind: running-light, direction: to-and-fro}",
        _row("lamp ", 6, "red"),
        3,
    ),
    Exhibit(
        "arrow-board",
        "arrow-board: sequential arrow to the right, four of its lamps",
        "{kind: arrow-board, mode: sequential-arrow, direction: right}",
        _row("", 15, "amber"),
        6,
        ("1", "6", "8", "11"),
    ),
    Exhibit("traffic-north-america", "traffic-lights of North America", _road("north-america"), _ROAD, 60),
    Exhibit(
        "traffic-great-britain", "traffic-lights of Great Britain", _road("great-britain", "amber"), _ROAD, 60
    ),
    Exhibit("traffic-germany", "traffic-lights of Germany", _road("germany"), _ROAD, 60),
    Exhibit("programme", "programme of three steps", _PROGRAMME, ["one:white", "two:white"], 12),
    *(
        Exhibit(name, text, f"{{character: {text}}}", ["light:white"], seconds)
        for name, text, seconds in (
            ("character-fl", "Fl(2+1) 15s", 30),
            ("character-oc", "Oc(2) 13s", 30),
            ("character-iso", "Iso 10s", 30),
            ("character-q", "Q(3) 10s", 30),
            ("character-vq", "VQ(6)+LFl 10s", 30),
            ("character-iq", "IQ 12s", 30),
            ("character-mo", "Mo(A) 8s", 30),
            ("character-ffl", "FFl 10s", 30),
            ("character-al", "Al.Fl.WR 10s", 30),
        )
    ),
    Exhibit("open-fire", "open-fire, diameter: 1 m", "open-fire", ["coals:candle", "flames:candle"], 10),
    Exhibit("small-flame", "small-flame", "small-flame", ["wick:candle"], 5),
    Exhibit("welders-arc", "welders-arc", "welders-arc", ["torch:white"], 60),
    Exhibit(
        "tube-start",
        "tube-start: three tubes",
        "tube-start",
        ["tube 1:white", "tube 2:white", "tube 3:white"],
        20,
    ),
    Exhibit("failing-tube", "failing-tube", "failing-tube", ["tube:white"], 20),
    Exhibit("sodium-lamp", "sodium-lamp", "sodium-lamp", ["lamp:white"], 300),
    Exhibit("high-pressure-sodium", "high-pressure-sodium", "high-pressure-sodium", ["lamp:white"], 300),
    Exhibit("mercury-lamp", "mercury-lamp", "mercury-lamp", ["lamp:white"], 420),
    Exhibit("screen", "screen", "screen", ["room:white"], 60),
    Exhibit("gas-tube-fault", "gas-tube-fault", "gas-tube-fault", ["sign:red"], 60),
)
"""Every effect of the gallery."""
