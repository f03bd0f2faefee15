"""Layouts with wiring that is planned or has died."""

from __future__ import annotations

from typing import Final

from bridge.check import check_text
from bridge.engine import Engine
from bridge.events import AccessoryOrdered, Event, Position
from tests.support.driving import layout as layout_of

BUILDS: Final = """\
layout: Fernhollow
builds:
  mast: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  pixel: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  pair:
    chips: [ws2811, ws2811]
    heads:
      upper: {green: {channel: 1, inverted: true}, red: {channel: 2, inverted: true}}
      lower: {green: {chip: 2, channel: 1}, red: {chip: 2, channel: 2}}
  house: {chips: [sk6812-rgbw, ws2811], lamps: {attic: {full-colour: 1}, porch: {chip: 2, channel: 2, colour: amber}}}
  dwarf: {chips: [ws2811], lamps: {red: {channel: 1}}}
"""
YARD: Final = (
    BUILDS
    + """\
nodes:
  tarn:
    chains:
      - name: yard
        fixtures:
          - {name: A, build: mast}
          - {name: P, build: mast, planned: true}
          - {name: B, build: mast}
          - {name: C, build: pair, bypassed: 1}
          - {name: H, build: house}
          - {name: D, build: mast, broken: 1}
          - {name: E, build: mast}
  hill:
    chains:
      - {name: line, planned: true, fixtures: [{name: F, build: mast}]}
signals:
  A: {commands: {61: {normal: stop, reverse: clear}}}
  P: {commands: {62: {normal: stop, reverse: clear}}}
  B: {follows: {signal: P, shows: {stop: approach, clear: clear}}}
  upper: {fixture: C, heads: [upper], commands: {63: {normal: stop, reverse: clear}}}
  lower: {fixture: C, heads: [lower], commands: {64: {normal: stop, reverse: clear}}}
  D: {commands: {65: {normal: stop, reverse: clear}}}
  E: {commands: {66: {normal: stop, reverse: clear}}}
  F: {commands: {67: {normal: stop, reverse: clear}}}
lights:
  H: {when: {accessory: 70}, lamps: [porch], shows: 'on'}
"""
)


def told(text: str) -> list[str]:
    return [f"{found.mark.line}: {found.level.value}: {found.message}" for found in check_text(text).findings]


def order(number: int, position: str = "reverse", at: int = 0) -> Event:
    return AccessoryOrdered(at=at, source="mqtt", number=number, position=Position(position))


def cleared(text: str = YARD) -> Engine:
    """An engine of which all signals and lights were ordered to something better."""
    engine = Engine(layout_of(text))
    engine.start()
    for number in (*range(61, 68), 70):
        engine.handle(order(number))
    return engine
