"""What may run as it is and is likely not meant: told as warnings, once the file has no errors."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from bridge.check.care import Watched, look_at_care
from bridge.check.colours import advice_on_colours
from bridge.check.orders import advice_on_orders
from bridge.check.wiring import look_at_dead_chips
from bridge.layout.findings import Finding, said, warning
from bridge.layout.model import ON, AspectRow, Fixture, LampKind, Layout
from bridge.light.chance import seed_of
from bridge.light.colours import led_colour
from bridge.light.effects import compose

STOP: Final = "stop"
PROCEED: Final = frozenset({"clear", "proceed"})
"""Aspects that no signal should show while it knows nothing: 49 CFR 236.23(d) gives them green."""

SIGNAL_COLOURS: Final = ("red", "yellow", "green", "lunar", "white")


def advice(layout: Layout) -> tuple[Finding, ...]:
    """Return what the owner should look at in a layout without errors."""
    return (
        *_order_of_aspects(layout),
        *_signal_colours(layout),
        *_unused(layout),
        *advice_on_orders(layout),
        *look_at_care(_watched(layout)),
        *advice_on_colours(layout),
        *look_at_dead_chips(layout),
    )


def _watched(layout: Layout) -> Iterator[Watched]:
    """Yield every light that plays an effect, as those see it whom flashing light can harm."""
    fixtures = layout.fixtures()
    for light in layout.lights:
        if light.effect is not None:
            places = [
                (fixtures[place.fixture], fixtures[place.fixture].lamp(place.head, place.lamp))
                for place in light.lamps
            ]
            yield Watched(
                light.name,
                light.mark,
                compose(light.effect, len(places), seed_of(light.name)),
                [
                    led_colour(lamp.name, lamp.colour)
                    if lamp.kind is not LampKind.FULL_COLOUR
                    else light.shows.word.replace(ON, lamp.colour)
                    for _fixture, lamp in places
                ],
                [layout.all_chains[fixture.chain].key for fixture, _lamp in places],
            )


def _order_of_aspects(layout: Layout) -> Iterator[Finding]:
    fixtures = layout.fixtures()
    for signal in layout.signals:
        first, *later = signal.aspects
        if any(row.name == STOP for row in later) and _lets_pass(first, fixtures[signal.fixture]):
            yield warning(
                first.mark,
                f"while it knows nothing a signal shows the first of its aspects, and here that is {said(first.name)}: "
                f"write {said(STOP)} first",
            )


def _lets_pass(row: AspectRow, fixture: Fixture) -> bool:
    """Whether an aspect is one to go by, by its name or by a green light."""
    if row.name in PROCEED:
        return True
    own = {
        (head.name, lamp.name): led_colour(lamp.name, lamp.colour)
        for head in fixture.heads
        for lamp in head.lamps
    }
    return any(
        own.get((head, item.word), item.word) == "green" for head, items in row.heads for item in items
    )


def _signal_colours(layout: Layout) -> Iterator[Finding]:
    for colour in SIGNAL_COLOURS:
        if colour in layout.colours:
            yield warning(
                layout.colour_marks[colour],
                f"{colour} is a colour of signals, and with this every full-colour signal shows {colour} so: "
                "give it a name of its own if it is meant for something else",
            )


def _unused(layout: Layout) -> Iterator[Finding]:
    used = {signal.fixture for signal in layout.signals} | {
        place.fixture for light in layout.lights for place in light.lamps
    }
    if not used:
        return  # only the wiring is written down yet, and there would be a warning for all of it
    for name, fixture in layout.fixtures().items():
        if name not in used:
            yield warning(
                fixture.mark, f"no signal and no light uses the fixture {said(name)}: it stays dark"
            )
