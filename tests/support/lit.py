"""A street of lights for the tests of what switches them, and short ways to say what happens there."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from bridge.commands import Command
from bridge.engine import Engine
from bridge.events import (
    SECOND,
    AccessoryProved,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    Position,
)
from tests.support.driving import layout

STREET: Final = """
layout: Bell Street
sources: {panel: {kind: mqtt}, tower: {kind: mqtt}}
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  house: {chips: [sk6812-rgbw], lamps: {lamp: {full-colour: 1}}}
nodes:
  east:
    chains:
      - name: main
        fixtures:
          - {name: T2, build: mast}
          - {name: H1, build: house}
          - {name: H2, build: house}
          - {name: H3, build: house}
blocks: {yard: {clear-after: 0 s}}
daylight: {dawn: 06:10, dusk: 19:40}
signals:
  T2: {commands: {61: {normal: stop, reverse: clear}, 62: {normal: approach}}}
lights:
"""


def street(*whens: str, more: str = "") -> str:
    """Return a street whose houses H1, H2 and H3 go by these conditions, each with what else is said of the light."""
    lights = [f"  H{place}: {{when: {when}}}\n" for place, when in enumerate(whens, start=1)]
    return STREET + "".join(lights) + more


def driven(*whens: str, more: str = "") -> Engine:
    """Return an engine of such a street that has been started."""
    engine = Engine(layout(street(*whens, more=more)))
    engine.start()
    return engine


def tell(engine: Engine, *events: Event) -> list[Command]:
    """Tell events that are stamped already; one that is older than the present happens now."""
    commands: list[Command] = []
    for event in events:
        commands += engine.handle(replace(event, at=max(event.at, engine.now)))
    return commands


def lamp(engine: Engine, name: str = "H1") -> str:
    """Return whether a light is on or off."""
    return engine.choices()[name].aspect


def why(engine: Engine, name: str = "H1") -> str:
    """Return why."""
    return engine.choices()[name].reason


def clock(
    time: str,
    at: int = 0,
    *,
    rate: int = 4,
    running: bool = True,
    source: str = "panel",
    authority: Authority = Authority.FEEDBACK,
) -> ClockReported:
    """Return what the model clock was set to; `rate` in quarter steps."""
    hours, minutes, seconds = (int(each) for each in f"{time}:00".split(":")[:3])
    return ClockReported(
        at=at,
        source=source,
        seconds=hours * 3600 + minutes * 60 + seconds,
        rate_quarters=rate,
        running=running,
        authority=authority,
    )


def press(name: str, at: int = 0, state: ButtonState = ButtonState.PRESSED) -> ButtonReported:
    """Return a press of a button, or its release."""
    return ButtonReported(at=at, source="panel", name=name, state=state)


def pressed_and_released(name: str, at: int) -> tuple[ButtonReported, ButtonReported]:
    """Return a press at an instant, and the release a fifth of a second later."""
    return press(name, at), press(name, at + SECOND // 5, ButtonState.RELEASED)


def block(state: BlockState, at: int = 0) -> BlockReported:
    """Return a report of the block `yard`."""
    return BlockReported(at=at, source="panel", name="yard", state=state)


def proved(number: int, position: Position, at: int = 0) -> AccessoryProved:
    """Return the news that an accessory is proved somewhere."""
    return AccessoryProved(at=at, source="panel", number=number, position=position)


def number(accessory: int, aspect: int, at: int = 0) -> AspectOrdered:
    """Return an order to an extended accessory."""
    return AspectOrdered(at=at, source="panel", number=accessory, aspect=aspect)
