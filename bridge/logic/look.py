"""What the logic finds in a layout that was read without errors."""

from __future__ import annotations

from bridge.layout.findings import Finding, error, warning
from bridge.layout.model import Layout, Signal


def look_at_logic(layout: Layout) -> tuple[Finding, ...]:
    """Find everything that the logic has to say of a layout."""
    return (*claims(layout), *conflicts(layout))


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
