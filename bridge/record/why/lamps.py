"""Which lamps of a device shine, by the bytes that its chain was given."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bridge.layout.model import Fixture, Lamp, Layout
from bridge.record.why.answer import Lit


def lamps_of(layout: Layout, name: str, frames: Sequence[bytes]) -> tuple[Lit, ...]:
    """Return the lamps of a signal or a light with what they were given; none for anything else.

    Args:
        layout: the layout.
        name: of the device.
        frames: the last frame of each chain.
    """
    fixtures = layout.fixtures()
    found: list[Lit] = []
    for fixture, head, lamp in _lamps(layout, name, fixtures):
        index = fixtures[fixture].chain
        if not lamp.wires or index >= len(frames):
            continue  # a mixture of others, or on a chain that is not built
        chain, frame = layout.chains[index], frames[index]
        levels: dict[str, int] = {}
        for wire in lamp.wires:
            # A lamp test may show a picture that is shorter, and what is not built has no byte.
            if not 0 <= wire.offset < len(frame):
                continue
            byte = frame[wire.offset]
            die = wire.die or ("light" if len(lamp.wires) == 1 else f"channel {wire.channel + 1}")
            levels[die] = 255 - byte if wire.inverted else byte
        if not levels:
            continue
        label = f"{head}.{lamp.name}" if head else lamp.name
        found.append(Lit(fixture, label, chain.key, lamp.wires[0].chip, levels))
    return tuple(found)


def _lamps(layout: Layout, name: str, fixtures: dict[str, Fixture]) -> Iterator[tuple[str, str, Lamp]]:
    for signal in layout.signals:
        if signal.name == name:
            for head in fixtures[signal.fixture].only(signal.heads).heads:
                yield from ((signal.fixture, head.name, lamp) for lamp in head.lamps)
    for light in layout.lights:
        if light.name == name:
            for place in light.lamps:
                yield place.fixture, place.head, fixtures[place.fixture].lamp(place.head, place.lamp)
