"""The door through which adapters come in: entry points, for ours as for a stranger's."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import entry_points
from typing import Any, Final

from adapters.contract import Claim, EventSource, FrameOutput, Options
from bridge.layout.entries import Desk
from bridge.layout.findings import Finding, Mark, choice, error, warning
from bridge.layout.model import Layout
from bridge.layout.text import Path, parse
from bridge.service.places import place_of

EVENTS: Final = "lamproom.events"
OUTPUTS: Final = "lamproom.outputs"


class Adapters:
    """The adapters that are installed, loaded when they are first asked for.

    A fault of one adapter (it cannot be imported, say) is the finding of whoever names it, and of nobody else.
    """

    def __init__(self) -> None:
        self._points = {
            group: {point.name: point for point in entry_points(group=group)} for group in (EVENTS, OUTPUTS)
        }

    def source(self, kind: str) -> type[EventSource]:
        """Return the event source of a kind; `look_at` has made sure that there is one."""
        loaded: type[EventSource] = self._points[EVENTS][kind].load()
        return loaded

    def output(self, kind: str) -> type[FrameOutput]:
        """Return the frame output of a kind; `look_at` has made sure that there is one."""
        loaded: type[FrameOutput] = self._points[OUTPUTS][kind].load()
        return loaded

    def options(self, adapter: type[EventSource | FrameOutput], said: Mapping[str, Any]) -> Options:
        """Return an adapter's options from what the layout file says."""
        return adapter.options.model_validate(dict(said))

    def look_at(self, layout: Layout, text: str) -> tuple[Finding, ...]:
        """Find sources and outputs that are not installed, and options that do not fit them."""
        desk = Desk(parse(text))
        before = len(desk.findings)
        for source in layout.sources:
            path: Path = ("sources", source.name)
            where = desk.mark((*path, "kind")) if source.kind != "mqtt" or source.options else source.mark
            adapter = self._load(EVENTS, "event source", source.kind, where, desk)
            if adapter is not None:
                desk.entry(adapter.options, source.options, path, also=("kind", "repeat-window"))
        claims: list[tuple[Path, Claim]] = []
        for output in layout.outputs:
            path = ("outputs", output.name)
            adapter = self._load(OUTPUTS, "frame output", output.kind, desk.mark((*path, "kind")), desk)
            if adapter is not None:
                options = desk.entry(adapter.options, output.options, path, also=("kind",))
                if options is not None:
                    claims += _look_into(options, layout, output.name, path, desk)
        _look_at_claims(claims, desk)
        return tuple(desk.findings[before:])

    def _load(self, group: str, what: str, kind: str, mark: Mark, desk: Desk) -> Any:
        point = self._points[group].get(kind)
        if point is None:
            text = f"no {what} is called {kind!r}; {choice(kind, self._points[group])}"
            desk.findings.append(error(mark, text))
            return None
        try:
            return point.load()
        except Exception as problem:  # noqa: BLE001 - whatever a stranger's module does, it is his alone
            desk.findings.append(error(mark, f"the {what} {kind!r} cannot be loaded: {problem}"))
            return None


def _look_into(
    options: Options, layout: Layout, output: str, path: Path, desk: Desk
) -> list[tuple[Path, Claim]]:
    """Note what an output finds wrong with its options, and return what it claims for its chains."""
    places = tuple(place_of(chain) for chain in layout.chains if chain.output == output)
    faults = options.faults(places)
    for fault in faults:
        mark = desk.mark((*path, *fault.keys))
        desk.findings.append((warning if fault.warning else error)(mark, fault.message))
    if not all(fault.warning for fault in faults):
        return []
    return [((*path, *claim.keys), claim) for claim in options.claims(places)]


def _look_at_claims(claims: list[tuple[Path, Claim]], desk: Desk) -> None:
    """Note each claim that overlaps one that stands further up in the file."""
    for number, (path, claim) in enumerate(claims):
        same = [(other_path, other) for other_path, other in claims if _meet(claim, other)]
        for other_path, other in same:
            if (other_path, other) in claims[:number] and _overlap(claim, other):
                line = desk.mark(other_path).line
                free = max(each.last for _path, each in same) + 1
                there = "" if other.space == claim.space else f" {other.space}"
                desk.error(
                    path,
                    f"{_range(claim)} {claim.space} would be for {claim.owner}, and {_range(other)}{there} for "
                    f"{other.owner} in line {line}: two cannot share one, and from {free} on they are free",
                )
                break


def _meet(one: Claim, other: Claim) -> bool:
    return other.space in (one.space, one.within) or other.within == one.space


def _overlap(one: Claim, other: Claim) -> bool:
    return one.first <= other.last and other.first <= one.last


def _range(claim: Claim) -> str:
    if claim.first == claim.last:
        return f"{claim.unit} {claim.first}"
    return f"{claim.unit}s {claim.first} to {claim.last}"
