"""Pictures of ways to change: what a three-lamp signal and a searchlight show, frame by frame, as they are told to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

from bridge.engine import Engine
from bridge.events import MILLISECOND, Position
from bridge.layout.model import Way
from bridge.layout.shown import USUAL_CHANGE
from bridge.light.tapes import UNIT
from tests.support.driving import layout, order
from tests.support.strips import Lane, Picture, Rgb, paint

FILE: Final = """
layout: Ways to change
builds:
  searchlight: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, yellow: {channel: 2}, red: {channel: 3}}}
nodes: {bench: {chains: [{name: one, fixtures: [{name: mast, build: three-lamp}, {name: eye, build: searchlight}]}]}}
aspects: {line: {stop: red, approach: yellow, clear: green}}
signals:
  mast: {aspects: line, change: CHANGE, commands: {1: {normal: stop, reverse: clear}, 2: {normal: approach}}}
  eye: {aspects: line, change: CHANGE, commands: {3: {normal: stop, reverse: clear}, 4: {normal: approach}}}
"""

TOLD: Final = ((200, 1, Position.REVERSE), (1300, 2, Position.NORMAL), (2400, 1, Position.NORMAL))
"""Clear, then approach, then stop: when, in ms, and by what order; the searchlight by numbers that are two higher."""

LASTS: Final = 3400
STEP: Final = 4


def _watched(change: str) -> list[bytes]:
    """Return the frame every `STEP` ms."""
    engine = Engine(layout(FILE.replace("CHANGE", change)))
    engine.start()
    told, seen = list(TOLD), []
    for at in range(0, LASTS + STEP, STEP):
        while told and told[0][0] <= at:
            when, number, position = told.pop(0)
            for device in (0, 2):
                engine.handle(order(number + device, position, when * MILLISECOND))
        engine.advance(at * MILLISECOND)
        seen.append(engine.present_frames()[0])
    return seen


def _lamp(seen: list[bytes], place: int, colour: str) -> Callable[[int], tuple[int, Rgb]]:
    return lambda at: (seen[at // (STEP * MILLISECOND)][place] * UNIT // 255, paint(colour))


def _eye(seen: list[bytes]) -> Callable[[int], tuple[int, Rgb]]:
    shown = [_colour(*frame[3:6]) for frame in seen]
    full = {
        colour: max(level for each, level in shown if each == colour) for colour in ("green", "yellow", "red")
    }

    def at(instant: int) -> tuple[int, Rgb]:
        colour, level = shown[instant // (STEP * MILLISECOND)]
        return level * UNIT // full[colour], paint(colour)

    return at


def _colour(green: int, red: int, blue: int) -> tuple[str, int]:
    """Return what the bytes of a searchlight look like, and its brightest die."""
    return ("green", green) if blue else ("yellow", red) if green else ("red", red)


def pictures_of_changes() -> Iterator[Picture]:
    """Yield a picture of each way to change that takes time, at the time that it usually takes."""
    for way in USUAL_CHANGE:
        # A fade is drawn slower than it usually is, so that there is something to see.
        seen = _watched("fade 800 ms" if way is Way.FADE else way)
        lanes = [
            Lane(colour, _lamp(seen, place, colour))
            for place, colour in enumerate(("green", "yellow", "red"))
        ]
        lanes.append(Lane("searchlight", _eye(seen)))
        title = f"{way}: clear, approach, stop"
        yield Picture(f"change-{way.replace(' ', '-')}", title, lanes, LASTS * MILLISECOND)
