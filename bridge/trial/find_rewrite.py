"""From what the finder found to the layout file: which lines of it would change, and what is left to its owner."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from bridge.errors import LayoutError
from bridge.layout.edit import (
    AtLamp,
    SetKey,
    SetOrder,
    SetTypeOrder,
    SortChain,
    apply,
)
from bridge.layout.edit import Edit as Change
from bridge.layout.edit_wiring import ChipState, marked
from bridge.layout.findings import either
from bridge.layout.model import Chain, Layout
from bridge.layout.text import parse
from bridge.trial.find_edits import (
    ChipsInOrder,
    Edit,
    FixturesInOrder,
    LampsOfBuild,
    NothingBehind,
    OrderOfFixture,
    OrderOfType,
    Outcome,
    PutIn,
    SplitUp,
    TakeOut,
)

NOT_TOLD_APART: Final = (
    "what the explanations that are left differ in is not proposed: "
    "look which of them it is, mend it or write it down"
)


@dataclass(frozen=True, slots=True)
class Rewriting:
    """What becomes of the layout file.

    Attributes:
        text: the file as it would be; as it was if there is nothing to change.
        marks: what is said of the proposed lines besides, a sentence each.
        by_hand: what cannot be written line by line, a sentence each.
    """

    text: str
    marks: tuple[str, ...]
    by_hand: tuple[str, ...]


def not_for_one_chain(text: str, layout: Layout, chain: Chain) -> frozenset[str]:
    """Return the builds that no edit may change because of one chain.

    They are used elsewhere, or by fixtures that nobody has soldered yet; or a lamp of theirs has several channels, and
    these stand in a list.

    Args:
        text: the layout file.
        layout: what it describes.
        chain: the one that is looked at.
    """
    others = {
        fixture.build
        for each in layout.all_chains
        for fixture in each.fixtures
        if each.key != chain.key or fixture.planned
    }
    builds: Mapping[str, Any] = parse(text).data["builds"]
    lists = {
        name
        for name, build in builds.items()
        for lamps in (build.get("lamps"), *(build.get("heads") or {}).values())
        if any("channels" in lamp for lamp in (lamps or {}).values())
    }
    return frozenset(others | lists)


def rewritten(outcome: Outcome, text: str, layout: Layout) -> Rewriting:
    """Return what the layout file would be if everything that was found for certain were written into it.

    What is true in some of several explanations only is left out. An edit that does not fit the file is left to its
    owner, with the reason, and the others are made all the same.

    Args:
        outcome: what was found.
        text: the layout file.
        layout: what it describes.
    """
    marks: list[str] = []
    by_hand: list[str] = []
    before = text
    for finding in outcome.common:
        for found in finding.edits:
            edit = _of_build(found, before)
            words = _in_words(edit)
            if words:
                by_hand.append(words)
                continue
            try:
                changed = apply(text, _changes(edit, text, layout))
            except LayoutError as problem:
                by_hand.append(f"{finding.words}: {problem}")
                continue
            if changed != text:
                marks += _mark(edit)
            text = changed
    if any(set(each.findings) - set(outcome.common) for each in outcome.explanations):
        by_hand.append(NOT_TOLD_APART)
    return Rewriting(text, tuple(marks), tuple(by_hand))


def _changes(edit: Edit, text: str, layout: Layout) -> tuple[Change, ...]:
    match edit:
        case OrderOfType(node, chain, chip, order):
            return (SetTypeOrder(node, chain, chip, order),)
        case OrderOfFixture(fixture, chip, order):
            return (SetOrder(fixture, chip, order),)
        case FixturesInOrder(node, chain, fixtures):
            return (SortChain(node, chain, fixtures),)
        case LampsOfBuild(build, channels):
            return tuple(
                SetKey(AtLamp(build, head, lamp), "channel", now) for head, lamp, _chip, _was, now in channels
            )
        case TakeOut(fixture, chip):
            return marked(text, layout, fixture, chip, ChipState.BYPASSED)
        case NothingBehind(fixture, chip):
            return marked(text, layout, fixture, chip, ChipState.BROKEN)
        case _:
            return ()


def _in_words(edit: Edit) -> str:
    """Return what is to be written by hand, where only its owner can say how."""
    match edit:
        case ChipsInOrder(fixture, chips):
            order = " and ".join(str(each) for each in chips)
            return (
                f"{fixture} needs a build of its own: a copy of its present one, whose chips stand in the order "
                f"{order} and whose lamps name them by their new numbers"
            )
        case SplitUp(fixture, between):
            inside = either(between)
            return (
                f"solder {fixture} in one piece, or write it down as several fixtures, each with the chips that follow "
                f"each other without {inside} between them"
            )
        case PutIn(node, chain, behind, chip):
            where = f"behind {behind}" if behind else f"as the first of {node}/{chain}"
            return (
                f"take the chip off the line, or write it down {where}: a fixture of a build with one {chip}, or "
                "whatever chip it is"
            )
        case _:
            return ""


def _mark(edit: Edit) -> Iterator[str]:
    match edit:
        case TakeOut(fixture, chip):
            yield (
                f"chip {chip} of {fixture} is marked as bypassed, and what hangs on it is out of use. If it is yet to "
                "be soldered, `planned: true` says it better; if it never comes, take the fixture out"
            )
        case NothingBehind(fixture, chip):
            yield (
                f"chip {chip} of {fixture} is marked as broken, so what hangs on it and behind it is out of use until "
                "you have mended it and said so with `lamproom chip`"
            )


def _of_build(edit: Edit, text: str) -> Edit:
    """Return an edit whose chip is counted in its build; the finder counts those that are on the data line."""
    if not isinstance(edit, OrderOfFixture | TakeOut | NothingBehind):
        return edit
    entry = next(each for each in _entries(text) if str(each.get("name")) == edit.fixture)
    said = entry.get("bypassed", [])
    bypassed = {*said} if isinstance(said, list) else {said}
    chips = len(parse(text).data["builds"][str(entry["build"])]["chips"])
    there = [each for each in range(1, chips + 1) if each not in bypassed]
    return replace(edit, chip=there[edit.chip - 1])


def _entries(text: str) -> Iterator[dict[str, Any]]:
    nodes: dict[str, Any] = parse(text).data["nodes"]
    for node in nodes.values():
        for chain in node["chains"]:
            yield from chain["fixtures"]
