"""The door through which adapters come in: entry points, for ours as for a stranger's."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Final, NamedTuple

from pydantic.fields import FieldInfo

from adapters.contract import ChainPlace, Claim, EventSource, FrameOutput, Mention, Options
from bridge.layout.entries import Desk
from bridge.layout.findings import Finding, Mark, choice, error, errors, said, warning
from bridge.layout.model import OFF, ON, Layout
from bridge.layout.text import Path, parse
from bridge.service.places import place_of

EVENTS: Final = "lamproom.events"
OUTPUTS: Final = "lamproom.outputs"

GROUPS: Final = {EVENTS: ("listen", "decode"), OUTPUTS: ("start", "show", "wake", "stop")}
"""The groups of entry points, and what the contract asks of an adapter in each."""

SOURCE_KEYS: Final = ("kind", "repeat-window", "refresh-every", "lost-after")
"""The keys of the layout file that every source has, whatever its kind."""


@dataclass(frozen=True, slots=True)
class Installed:
    """One adapter that is installed.

    Attributes:
        kind: what it is called in the layout file.
        group: the group of entry points that it is in.
        package: the distribution that it came with.
        version: of that one.
        place: module and class.
        options: its keys in the layout file, each with its default, or None where it must be given.
        fault: why it cannot be used, or nothing.
    """

    kind: str
    group: str
    package: str
    version: str
    place: str
    options: dict[str, str | None]
    fault: str

    def lines(self) -> list[str]:
        """Return it in lines for its owner."""
        what = "event source" if self.group == EVENTS else "frame output"
        keys = [
            f"  {key}: {'must be given' if default is None else default}"
            for key, default in self.options.items()
        ]
        if self.fault:
            keys.append(f"  error: it {self.fault}")
        head = f"{what} {self.kind}, from {self.package} {self.version} ({self.group}, {self.place})"
        return [head, *keys]


class AtEnds(NamedTuple):
    """What was found at the ends of a layout, its sources and outputs.

    Attributes:
        findings: all of it.
        of_outputs: the errors among them that are of outputs.
        faults: the first of these of each output, by its name.
    """

    findings: tuple[Finding, ...]
    of_outputs: tuple[Finding, ...]
    faults: dict[str, Finding]


class Adapters:
    """The adapters that are installed, loaded when they are first asked for.

    A fault of one adapter (it cannot be imported, say) is the finding of whoever names it, and of nobody else.
    """

    def __init__(self) -> None:
        self._points: dict[str, dict[str, tuple[EntryPoint, ...]]] = {}
        for group in GROUPS:
            kinds = self._points.setdefault(group, {})
            for point in entry_points(group=group):
                kinds[point.name] = (*kinds.get(point.name, ()), point)

    def installed(self) -> list[Installed]:
        """Return every adapter that is installed, those that cannot be used with the reason."""
        return [
            _installed(group, point, among)
            for group, kinds in self._points.items()
            for _kind, among in sorted(kinds.items())
            for point in among
        ]

    def source(self, kind: str) -> type[EventSource]:
        """Return the event source of a kind; `look_at` has made sure that there is one."""
        loaded: type[EventSource] = self._points[EVENTS][kind][0].load()
        return loaded

    def kinds_of_sources(self) -> tuple[str, ...]:
        """Return the kinds of event sources that are installed."""
        return tuple(self._points[EVENTS])

    def output(self, kind: str) -> type[FrameOutput]:
        """Return the frame output of a kind; `look_at` has made sure that there is one."""
        loaded: type[FrameOutput] = self._points[OUTPUTS][kind][0].load()
        return loaded

    def options(self, adapter: type[EventSource | FrameOutput], said: Mapping[str, Any]) -> Options:
        """Return an adapter's options from what the layout file says."""
        return adapter.options.model_validate(dict(said))

    def look_at(self, layout: Layout, text: str, planned: Layout | None = None) -> AtEnds:
        """Find sources and outputs that are not installed, and options that do not fit them.

        Args:
            layout: what the file describes.
            text: the file.
            planned: what it will describe once all that is planned is built, if anything is.
        """
        desk = Desk(parse(text))
        before = len(desk.findings)
        claims: list[tuple[Path, Claim]] = []
        for source in layout.sources:
            path: Path = ("sources", source.name)
            where = desk.mark((*path, "kind")) if source.kind != "mqtt" or source.options else source.mark
            adapter = self._load(EVENTS, "event source", source.kind, where, desk)
            if adapter is not None:
                options = desk.entry(adapter.options, source.options, path, also=SOURCE_KEYS)
                if options is not None:
                    _look_at_mentions(options.mentions(), layout, path, desk)
                    claims += _look_into(options, (), path, desk)
        of_outputs: list[tuple[str, Finding]] = []
        for output in layout.outputs:
            path, found = ("outputs", output.name), len(desk.findings)
            adapter = self._load(OUTPUTS, "frame output", output.kind, desk.mark((*path, "kind")), desk)
            if adapter is not None:
                options = desk.entry(adapter.options, output.options, path, also=("kind",))
                if options is not None:
                    plan = () if planned is None else _places(planned, output.name)
                    claims += _look_into(options, _places(layout, output.name), path, desk, plan)
            of_outputs += [(output.name, each) for each in errors(tuple(desk.findings[found:]))]
        for path, each in _overlapping(claims, desk):
            desk.findings.append(each)
            if path[0] == "outputs":
                of_outputs.append((str(path[1]), each))
        first = dict(reversed(of_outputs))
        return AtEnds(tuple(desk.findings[before:]), tuple(each for _name, each in of_outputs), first)

    def look_at_source(self, kind: str, said: Mapping[str, Any], path: Path, desk: Desk) -> None:
        """Note what is wrong with the keys of a source that stands in no layout file."""
        adapter = self._load(EVENTS, "event source", kind, desk.mark(path), desk)
        options = None if adapter is None else desk.entry(adapter.options, dict(said), path)
        if options is not None:
            _look_into(options, (), path, desk)

    def _load(self, group: str, what: str, kind: str, mark: Mark, desk: Desk) -> Any:
        among = self._points[group].get(kind)
        if among is None:
            text = f"no {what} is called {kind!r}; {choice(kind, self._points[group])}"
            desk.findings.append(error(mark, text))
            return None
        loaded, fault = _loaded(group, among[0], among)
        if fault:
            desk.findings.append(error(mark, f"the {what} {kind!r} {fault}"))
        return loaded


def _loaded(group: str, point: EntryPoint, among: tuple[EntryPoint, ...]) -> tuple[Any, str]:
    """Return an adapter and nothing, or None and why it cannot be used."""
    if len(among) > 1:
        names = " and ".join(sorted(_origin(each)[0] for each in among))
        return None, f"is offered by {names}: uninstall all of them but one"
    try:
        loaded = point.load()
    except (Exception, SystemExit) as problem:  # noqa: BLE001 - whatever a stranger's module does, it is his alone
        return None, f"cannot be loaded: {type(problem).__name__}: {problem}"
    options = getattr(loaded, "options", None)
    if not (isinstance(options, type) and issubclass(options, Options)):
        return None, f"has no class of Options as its `options`: {point.value} is no adapter"
    missing = [each for each in GROUPS[group] if not callable(getattr(loaded, each, None))]
    if missing:
        return None, f"has no `{'`, no `'.join(missing)}`: it does not fit this version of lamproom"
    return loaded, ""


def _origin(point: EntryPoint) -> tuple[str, str]:
    """Return the distribution that an adapter came with, and its version."""
    return (point.dist.name, point.dist.version) if point.dist is not None else ("?", "?")


def _installed(group: str, point: EntryPoint, among: tuple[EntryPoint, ...]) -> Installed:
    loaded, fault = _loaded(group, point, among)
    options = loaded.options.model_fields.items() if loaded is not None else ()
    keys = {name.replace("_", "-"): _default(field) for name, field in options}
    return Installed(point.name, group, *_origin(point), point.value, keys, fault)


def _default(field: FieldInfo) -> str | None:
    """Return a default as the layout file would have it, or None where the key is needed."""
    if field.is_required():
        return None
    value = field.get_default(call_default_factory=True)
    if value is None or value in ({}, [], ()):
        return "left out"
    if field.examples:  # a value that is kept otherwise than it is written
        return str(field.examples[0])
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(str, value))}]"
    return str(value).lower() if isinstance(value, bool) else str(value)


def _look_into(
    options: Options,
    places: tuple[ChainPlace, ...],
    path: Path,
    desk: Desk,
    plan: tuple[ChainPlace, ...] = (),
) -> list[tuple[Path, Claim]]:
    """Note what an adapter finds wrong with its options, and return what it claims; `plan`: its chains once built."""
    faults = options.faults(places)
    if plan:
        # A chain that is planned is spoken of before it is there. What will be in order then is in order now.
        then = {fault.keys for fault in options.faults(plan)}
        faults = tuple(fault for fault in faults if fault.keys in then)
    for fault in faults:
        mark = desk.mark((*path, *fault.keys))
        desk.findings.append((warning if fault.warning else error)(mark, fault.message))
    if not all(fault.warning for fault in faults):
        return []
    return [((*path, *claim.keys), claim) for claim in options.claims(places)]


def _places(layout: Layout, output: str) -> tuple[ChainPlace, ...]:
    return tuple(place_of(chain) for chain in layout.chains if chain.output == output)


def _look_at_mentions(mentions: tuple[Mention, ...], layout: Layout, path: Path, desk: Desk) -> None:
    """Note each name that nothing in the layout has, and each aspect that its device does not have."""
    if not mentions:
        return
    aspects = {each.name: [row.name for row in each.aspects] for each in layout.signals}
    aspects |= {each.name: [ON, OFF] for each in layout.lights}
    known: dict[str, Collection[str]] = {
        "block": [each.name for each in layout.blocks],
        "district": [each.name for each in layout.districts],
        "device": aspects,
    }
    for each in mentions:
        if each.name not in known[each.what]:
            what = "signal or light" if each.what == "device" else each.what
            message = f"no {what} is called {said(each.name)}; {choice(each.name, known[each.what])}"
            desk.key_error((*path, *each.keys), message)
            continue
        for aspect in each.aspects:
            if aspect not in aspects[each.name]:
                message = f"{each.name} does not show {said(aspect)}; {choice(aspect, aspects[each.name])}"
                desk.key_error((*path, *each.keys, aspect), message)


def _overlapping(claims: list[tuple[Path, Claim]], desk: Desk) -> Iterator[tuple[Path, Finding]]:
    """Yield each claim that overlaps one that stands further up in the file."""
    for number, (path, claim) in enumerate(claims):
        same = [(other_path, other) for other_path, other in claims if _meet(claim, other)]
        for other_path, other in same:
            if (other_path, other) in claims[:number] and _overlap(claim, other):
                line = desk.mark(other_path).line
                free = max(each.last for _path, each in same) + 1
                there = "" if other.space == claim.space else f" {other.space}"
                text = (
                    f"{_range(claim)} {claim.space} would be for {claim.owner}, and {_range(other)}{there} for "
                    f"{other.owner} in line {line}: two cannot share one, and from {free} on they are free"
                )
                yield path, error(desk.mark(path), text)
                break


def _meet(one: Claim, other: Claim) -> bool:
    return other.space in (one.space, one.within) or other.within == one.space


def _overlap(one: Claim, other: Claim) -> bool:
    return one.first <= other.last and other.first <= one.last


def _range(claim: Claim) -> str:
    if claim.first == claim.last:
        return f"{claim.unit} {claim.first}"
    return f"{claim.unit}s {claim.first} to {claim.last}"
