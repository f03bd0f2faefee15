"""What the logic finds in a layout that was read without errors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bridge.layout.conditions import LightIsOn, leaves
from bridge.layout.controls import Ahead, Following
from bridge.layout.findings import Finding, error, warning
from bridge.layout.model import Layout, Signal


def look_at_logic(layout: Layout) -> tuple[Finding, ...]:
    """Find everything that the logic has to say of a layout."""
    return (*claims(layout), *conflicts(layout), *circles(layout), *circles_of_lights(layout))


def conflicts(layout: Layout) -> tuple[Finding, ...]:
    """Find conflicts that nothing can keep, and those that only one of the two signals says."""
    signals = {signal.name: signal for signal in layout.signals}
    named = {
        name: {other for route in each.routes for other in route.conflicts} for name, each in signals.items()
    }
    findings: list[Finding] = []
    for signal in layout.signals:
        for route in signal.routes:
            for other in route.conflicts:
                if other in signals and not signals[other].routes:
                    text = f"{other} has no `routes`, so nothing can keep it at {signals[other].rest}: give it some"
                    findings.append(error(route.mark, text))
                elif signal.name not in named.get(other, {signal.name}):
                    text = (
                        f"{signal.name} names {other} as a conflict, and {other} does not name {signal.name}"
                    )
                    findings.append(warning(route.mark, f"{text}: it counts both ways; say so there too"))
    return tuple(findings)


def circles(layout: Layout) -> tuple[Finding, ...]:
    """Find signals that go by each other in a circle with no block between: nothing on the track would ever decide."""
    goes_by: dict[str, list[str]] = {}
    for signal in layout.signals:
        followed = [each.signal for each in signal.controls if isinstance(each, Following)]
        ways = [way for each in signal.controls if isinstance(each, Ahead) for way in each.ways]
        goes_by[signal.name] = followed + [way.following for way in ways if way.following and not way.blocks]
    findings: list[Finding] = []
    told: set[str] = set()
    for signal in layout.signals:
        circle = _circle(signal.name, goes_by)
        if circle and signal.name not in told:
            told.update(circle)
            around = " goes by ".join((*circle, circle[0]))
            text = f"{around}, with no block between: nothing on the track decides what they show; name the blocks"
            findings.append(error(signal.mark, text))
    return tuple(findings)


def circles_of_lights(layout: Layout) -> tuple[Finding, ...]:
    """Find lights that go by each other in a circle: nothing else would ever switch them."""
    goes_by = {
        light.name: [leaf.light for leaf in leaves(light.when) if isinstance(leaf, LightIsOn)]
        for light in layout.lights
    }
    findings: list[Finding] = []
    told: set[str] = set()
    for light in layout.lights:
        circle = _circle(light.name, goes_by)
        if circle and light.name not in told:
            told.update(circle)
            around = " goes by ".join((*circle, circle[0]))
            text = f"{around}: a light cannot wait for itself; let one of them go by something else"
            findings.append(error(light.mark, text))
    return tuple(findings)


def _circle(start: str, goes_by: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Return the shortest way from a signal back to itself, or nothing."""
    ways: list[tuple[str, ...]] = [(start,)]
    seen: set[str] = set()
    for way in ways:  # it grows while we are at it: the shortest come first
        for following in goes_by.get(way[-1], ()):
            if following == start:
                return way
            if following not in seen:
                seen.add(following)
                ways.append((*way, following))
    return ()


def claims(layout: Layout) -> tuple[Finding, ...]:
    """Find accessories that two signals claim where an order meant for one would change the other as well.

    Two signals may share all of their accessories: then every order is meant for both. Where they share
    some, the last order would no longer be the last order for one of them.
    """
    findings: list[Finding] = []
    first: dict[int, Signal] = {}
    for signal in layout.signals:
        own = {row.accessory for row in signal.commands}
        for row in signal.commands:
            other = first.setdefault(row.accessory, signal)
            if {each.accessory for each in other.commands} != own:
                findings.append(
                    error(
                        row.mark,
                        f"accessory {row.accessory} already orders the signal {other.name} (line {other.mark.line}): "
                        f"an order meant for one would change the other; give {signal.name} numbers of its own, "
                        "or give both signals the very same accessories",
                    )
                )
    return tuple(findings)
