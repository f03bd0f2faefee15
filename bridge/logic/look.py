"""What the logic finds in a layout that was read without errors."""

from __future__ import annotations

from bridge.layout.findings import Finding, error
from bridge.layout.model import Layout, Signal


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
