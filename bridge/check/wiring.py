"""What there is to say of wiring that is not as it shall be: chips that have died, and what is wrong with a plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bridge.layout.findings import LISTED, Finding, warning
from bridge.layout.model import Fixture, Layout, Light, Signal, Wire


def has_plans(layout: Layout) -> bool:
    """Return whether anything is planned and not built yet."""
    return any(fixture.planned for fixture in layout.fixtures().values())


def look_at_dead_chips(layout: Layout) -> Iterator[Finding]:
    """Yield a warning for each chip that was bypassed or is broken, with everything that is out of use for it."""
    users: dict[str, list[Signal | Light]] = {}
    for signal in layout.signals:
        users.setdefault(signal.fixture, []).append(signal)
    for light in layout.lights:
        for name in dict.fromkeys(place.fixture for place in light.lamps):
            users.setdefault(name, []).append(light)
    for chain in layout.all_chains:
        causes: list[str] = []  # what lies behind a broken chip is told with it
        for fixture in chain.fixtures:
            for lost in dict.fromkeys(wire.lost for wire in _wires(fixture) if not fixture.planned):
                if lost and not any(lost.startswith(cause) for cause in causes):
                    causes.append(lost)
                    yield warning(fixture.mark, f"{lost}: {_harm(layout, lost, chain.fixtures, users)}")


def _harm(
    layout: Layout, lost: str, theirs: Iterable[Fixture], users: dict[str, list[Signal | Light]]
) -> str:
    fixtures = layout.fixtures()
    touched = [user for fixture in theirs for user in users.get(fixture.name, ())]
    out = dict.fromkeys(user.name for user in touched if user.lost.startswith(lost))
    less = dict.fromkeys(
        user.name
        for user in touched
        if isinstance(user, Light)
        and not user.lost
        and any(
            fixtures[place.fixture].lamp_lost(place.head, place.lamp).startswith(lost) for place in user.lamps
        )
    )
    words = [f"out of use {'are' if len(out) > 1 else 'is'} {_listed(out)}"] if out else []
    words += [f"{_listed(less)} {'go' if len(less) > 1 else 'goes'} on without some lamps"] if less else []
    return "; ".join(words) or "nothing uses it"


def _listed(names: Iterable[str]) -> str:
    found = list(names)
    more = f" and {len(found) - LISTED} more" if len(found) > LISTED else ""
    return ", ".join(found[:LISTED]) + more


def _wires(fixture: Fixture) -> Iterator[Wire]:
    for head in fixture.heads:
        for lamp in head.lamps:
            yield from lamp.wires


def once_built(now: Iterable[Finding], then: Iterable[Finding]) -> Iterator[Finding]:
    """Yield as warnings what would be found once all that is planned is built, and is not found now."""
    told = {(each.mark, each.message) for each in now}
    for each in then:
        if (each.mark, each.message) not in told:
            yield warning(each.mark, f"once what is planned is built: {each.message}")
