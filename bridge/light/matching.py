"""How bright the lamps of a signal may be, so that all of them look alike at the same level.

The weakest sets the measure, and the others are levelled down to it. A pixel's light is known from its data sheet or
from its owner; of an LED on a driver nothing is known but its colour. So in a signal that has nothing else, the
resistors settle how bright each lamp is, and nothing is matched.
"""

from __future__ import annotations

from bridge.layout.model import Fixture, Head, Lamp, LampKind, Signal
from bridge.light.palette import UNMATCHED, Chosen, Palette, choose


def weakest(signal: Signal, fixture: Fixture, palette: Palette) -> int:
    """Return the full light of the weakest of all lamps and colours that a signal can show.

    Args:
        signal: the signal.
        fixture: its heads.
        palette: the colours.

    Returns:
        Its light, as `Palette.full_light` counts it, or `UNMATCHED`.
    """
    if not signal.matched:
        return UNMATCHED
    lights: list[int] = []
    known = False
    for row in signal.aspects:
        lit = [
            (head, choose(head, item, palette))
            for head, (_name, items) in zip(fixture.heads, row.heads, strict=True)
            for item in items
        ]
        if any(isinstance(chosen, str) for _head, chosen in lit):
            continue  # it has no lamps for this aspect
        for head, chosen in lit:
            if isinstance(chosen, Chosen):
                known = known or _is_known(chosen.lamp, head)
                lights.append(palette.full_light(*chosen, head))
    # What gives no light at all, such as a colour without any, can be no measure.
    return min((light for light in lights if light), default=UNMATCHED) if known else UNMATCHED


def _is_known(lamp: Lamp, head: Head) -> bool:
    """Return whether more is known of a lamp's light than the colour of its LEDs."""
    if lamp.kind is LampKind.MIX:
        names = dict(lamp.mix)
        return any(_is_known(other, head) for other in head.lamps if other.name in names)
    return bool(lamp.mcd) or any(wire.die for wire in lamp.wires)
