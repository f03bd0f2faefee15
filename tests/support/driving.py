"""A small invented layout that the tests of the pure rooms drive, and short ways to say what happens on it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from bridge.commands import Command, Decision, PublishFrame
from bridge.engine import Engine
from bridge.events import (
    AccessoryOrdered,
    Authority,
    ButtonReported,
    ButtonState,
    LinkState,
    Position,
    SourceReported,
)
from bridge.layout.model import Layout
from bridge.layout.read import read_layout

NORMAL: Final = Position.NORMAL
REVERSE: Final = Position.REVERSE

WINDOW: Final = 2_000_000_000
"""Repeat window of the source `booster`, nanoseconds."""

FERNHOLLOW: Final = """
layout: Fernhollow
frames-per-second: 30
sources:
  panel: {kind: mqtt}
  booster: {kind: mqtt, repeat-window: 2 s}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  old-mast:
    chips: [ws2811]
    lamps:
      red: {channel: 1, inverted: true}
      green: {channel: 2, dimmable: false}
      yellow: {channel: 3, inverted: true}
  house: {chips: [sk6812-rgbw], lamps: {lamp: {full-colour: 1}}}
nodes:
  east:
    chains:
      - name: throat
        fixtures:
          - {name: T2, build: searchlight}
          - {name: T4, build: three-lamp}
      - name: yard
        fixtures:
          - {name: Y1, build: old-mast}
          - {name: spare, build: old-mast}
          - {name: Y3, build: three-lamp}
  west:
    chains:
      - name: street
        fixtures:
          - {name: mill, build: house}
          - {name: inn, build: house}
          - {name: chapel, build: house}
          - {name: kiosk, build: house}
signals:
  T2:
    commands:
      61: {normal: stop, reverse: clear}
      62: {normal: approach}
  T4:
    commands:
      63: {normal: stop, reverse: clear}
      64: {normal: approach, reverse: stop}
    change: fade 300 ms
  Y1:
    commands: {65: {normal: stop, reverse: clear}, 66: {reverse: approach}}
    change: fade 450 ms
  Y3:
    commands: {67: {normal: stop, reverse: clear}}
lights:
  mill: {when: {accessory: 101}, when-unknown: hold, shows: warm-white, change: fade 700 ms}
  inn: {when: {accessory: 102, ordered: normal}, when-unknown: 'off'}
  chapel: {when: {accessory: 103}, when-unknown: 'on'}
  kiosk: {when: {button: shop}, change: fade}
"""

SIGNALS: Final = ("T2", "T4", "Y1", "Y3")
DEVICES: Final = (*SIGNALS, "mill", "inn", "chapel", "kiosk")


def layout(text: str = FERNHOLLOW) -> Layout:
    """Read a layout that has no errors."""
    read, findings = read_layout(text)
    assert read is not None, findings
    return read


def started(text: str = FERNHOLLOW) -> Engine:
    """Return an engine that has been started."""
    engine = Engine(layout(text))
    engine.start()
    return engine


def order(
    number: int,
    position: Position,
    at: int = 0,
    source: str = "panel",
    authority: Authority = Authority.COMMAND,
) -> AccessoryOrdered:
    """Return an order to an accessory."""
    return AccessoryOrdered(at=at, source=source, number=number, position=position, authority=authority)


def copy(number: int, position: Position, at: int = 0, source: str = "panel") -> AccessoryOrdered:
    """Return a kept copy of an order."""
    return order(number, position, at, source, Authority.STATE)


def button(name: str, state: ButtonState, at: int = 0, source: str = "panel") -> ButtonReported:
    """Return the press or the release of a button."""
    return ButtonReported(at=at, source=source, name=name, state=state)


def lost(source: str = "panel", at: int = 0) -> SourceReported:
    """Return the news that a source can no longer be heard."""
    return SourceReported(at=at, source=source, state=LinkState.LOST)


def heard(source: str = "panel", at: int = 0) -> SourceReported:
    """Return the news that a source can be heard again."""
    return SourceReported(at=at, source=source, state=LinkState.UP)


def frames(commands: Iterable[Command]) -> list[PublishFrame]:
    """Return the frames among some commands."""
    return [command for command in commands if isinstance(command, PublishFrame)]


def decisions(commands: Iterable[Command]) -> list[Decision]:
    """Return the decisions among some commands."""
    return [command for command in commands if isinstance(command, Decision)]


def aspects(engine: Engine) -> dict[str, str]:
    """Return what every device shows."""
    return {device: choice.aspect for device, choice in engine.choices().items()}
