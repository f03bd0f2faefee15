"""What has to be written when wiring changes: something planned was soldered, or a chip has died or was mended."""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum
from typing import Any

from bridge.errors import LayoutError
from bridge.layout.edit import AtChain, AtFixture, Edit, RemoveKey, SetKey
from bridge.layout.findings import choice, said
from bridge.layout.model import Layout
from bridge.layout.text import parse


class ChipState(StrEnum):
    """How a chip is."""

    BROKEN = "broken"
    BYPASSED = "bypassed"
    WHOLE = "whole"


def planned_on(layout: Layout, chain: str, names: Collection[str] = ()) -> tuple[str, ...]:
    """Return the planned fixtures of a chain (`node/chain`) that are meant: those that are named, or all.

    Raises:
        LayoutError: there is no such chain, nothing on it is planned, or a name is none of these.
    """
    chains = {each.key: each for each in layout.all_chains}
    if chain not in chains:
        raise LayoutError(f"no chain is called {said(chain)}; {choice(chain, chains)}")
    planned = [fixture.name for fixture in chains[chain].fixtures if fixture.planned]
    if not planned:
        raise LayoutError(f"nothing on {chain} is planned: all of it counts as built already")
    for name in names:
        if name in {fixture.name for fixture in chains[chain].fixtures} - {*planned}:
            raise LayoutError(f"{name} counts as built already; planned on {chain}: {', '.join(planned)}")
        if name not in planned:
            raise LayoutError(f"no fixture {said(name)} is planned on {chain}; {choice(name, planned)}")
    return tuple(name for name in planned if name in names or not names)


def built(text: str, layout: Layout, chain: str, names: Collection[str]) -> tuple[Edit, ...]:
    """Return the edits after which planned fixtures of a chain count as built; others on it stay planned.

    Args:
        text: the layout file.
        layout: what it describes.
        chain: `node/chain`.
        names: fixtures that `planned_on` gave.
    """
    node, name = chain.split("/")
    entry = next(each for each in parse(text).data["nodes"][node]["chains"] if str(each["name"]) == name)
    edits: list[Edit] = []
    whole = entry.get("planned") is True
    if whole:
        edits.append(RemoveKey(AtChain(node, name), "planned"))
    fixtures = {str(each["name"]): each for each in entry["fixtures"]}
    for fixture in planned_on(layout, chain):
        said_so = fixtures[fixture].get("planned") is True
        if fixture in names and said_so:
            edits.append(RemoveKey(AtFixture(fixture), "planned"))
        elif fixture not in names and whole:
            edits.append(SetKey(AtFixture(fixture), "planned", value=True))
    return tuple(edits)


def marked(text: str, layout: Layout, name: str, number: int | None, state: ChipState) -> tuple[Edit, ...]:
    """Return the edits after which a chip of a fixture is broken, bypassed or whole; none where it is so already.

    Args:
        text: the layout file.
        layout: what it describes.
        name: the fixture.
        number: its chip, counted from 1; None for the only one.
        state: how it is.

    Raises:
        LayoutError: there is no such fixture or chip, or it has several and no number was given.
    """
    fixtures = layout.fixtures()
    if name not in fixtures:
        raise LayoutError(f"no fixture is called {said(name)}; {choice(name, fixtures)}")
    builds = {build.name: build for build in layout.builds}
    chips = len(builds[fixtures[name].build].chips)
    if number is None and chips > 1:
        raise LayoutError(
            f"{name} has {chips} chips: say which, such as {name}:1 for the one nearest to the node"
        )
    number = 1 if number is None else number
    if not 1 <= number <= chips:
        raise LayoutError(f"{name} has no chip {number}: its build has {chips}")
    entry = _entry(text, name)
    edits: list[Edit] = []
    for each in (ChipState.BYPASSED, ChipState.BROKEN):
        now = entry.get(each.value, [])
        before = sorted({*(now if isinstance(now, list) else [now])})
        after = sorted({*before, number} if each is state else {*before} - {number})
        if after == before:
            continue
        if not after:
            edits.append(RemoveKey(AtFixture(name), each.value))
        else:
            edits.append(SetKey(AtFixture(name), each.value, after[0] if len(after) == 1 else after))
    return tuple(edits)


def _entry(text: str, name: str) -> dict[str, Any]:
    nodes: dict[str, Any] = parse(text).data["nodes"]
    fixtures = [each for node in nodes.values() for chain in node["chains"] for each in chain["fixtures"]]
    found: dict[str, Any] = next(each for each in fixtures if str(each["name"]) == name)
    return found
