"""From the text of a layout file to a layout, or to everything that is wrong with it in one go."""

from __future__ import annotations

from typing import Any, Final

from bridge.events import SECOND
from bridge.layout.builds import read_builds
from bridge.layout.chains import read_nodes
from bridge.layout.connections import BrokerPlace, Output, Source
from bridge.layout.devices import unique_devices
from bridge.layout.entries import Desk, nothing_below
from bridge.layout.findings import LONGEST, START, Finding, choice, errors, in_order, said
from bridge.layout.lights import read_lights
from bridge.layout.model import Chain, Layout
from bridge.layout.read_conditions import nameable
from bridge.layout.read_crossings import read_crossings
from bridge.layout.read_keeping import read_keeping
from bridge.layout.read_light import read_chips, read_colours
from bridge.layout.read_zones import look_at_zones, read_still, read_zones
from bridge.layout.schema import BrokerEntry, OutputEntry, SourceEntry
from bridge.layout.signals import read_signals
from bridge.layout.text import parse
from bridge.layout.track import read_blocks, read_districts, read_turnouts
from bridge.layout.units import duration

SECTIONS: Final = (
    "layout",
    "scale",
    "frames-per-second",
    "restore-within",
    "broker",
    "sources",
    "outputs",
    "colours",
    "chips",
    "builds",
    "nodes",
    "districts",
    "blocks",
    "turnouts",
    "aspects",
    "signals",
    "lights",
    "crossings",
    "daylight",
    "zones",
    "still",
    "session-log",
)
"""The keys at the top of a layout file."""

MAPPINGS: Final = frozenset(SECTIONS) - {"layout", "scale", "frames-per-second", "restore-within"}
"""Those with entries of their own below them."""

SCALES: Final = ("Z", "N", "TT", "HO", "H0", "OO", "S", "O", "0", "1")
FRAMES_PER_SECOND: Final = range(1, 101)
DEFAULT_FRAMES_PER_SECOND: Final = 50
DEFAULT_RESTORE_WITHIN: Final = 12 * 3600 * SECOND
DEFAULT_SOURCE: Final = "mqtt"
DEFAULT_OUTPUT: Final = "mqtt"


def read_layout(text: str) -> tuple[Layout | None, tuple[Finding, ...]]:
    """Read a layout file.

    Args:
        text: the whole file.

    Returns:
        The layout, or None where there are errors; and all findings in the order of the file.
    """
    layout, findings = read_what_can_be(text)
    return None if errors(findings) else layout, findings


def read_what_can_be(text: str) -> tuple[Layout | None, tuple[Finding, ...]]:
    """Read a layout file as far as possible, so that other rooms can find errors beside those found here.

    Returns:
        The layout without all that has an error, or None where nothing can be made of the file; and all
        findings in the order of the file.
    """
    desk = Desk(parse(text))
    data = desk.document.data
    if not isinstance(data, dict):
        if not desk.findings:
            what = "the file is empty" if data is None else "a layout file is a mapping"
            desk.error((), f"{what}: begin with `layout:` and a name")
        return None, in_order(desk.findings)
    layout = _whole(desk)
    return layout, in_order(desk.findings)


def _whole(desk: Desk) -> Layout:
    data: dict[str, Any] = desk.document.data
    _unknown_sections(desk)
    if data.get("nodes") in (None, {}) and "nodes" not in desk.unread:
        mark = desk.key_mark(("nodes",)) if "nodes" in data else START
        desk.error_at(mark, "there are no nodes: name at least one, with a chain and its fixtures")
        desk.unread.add("nodes")
    dies, trims = read_chips(desk)
    builds = read_builds(desk)
    planting = read_nodes(desk, builds, trims)
    districts = read_districts(desk)
    blocks = read_blocks(desk, districts)
    signals = read_signals(desk, planting.fixtures, blocks)
    crossings, posts = read_crossings(desk, planting.fixtures, blocks)
    signals += posts
    names = nameable(desk, blocks, signals)
    lights = read_lights(desk, planting.fixtures, names)
    zones = read_zones(desk, names)
    look_at_zones(desk, zones, signals, lights)
    unique_devices(desk, signals, lights)
    colours, marks = read_colours(desk)
    return Layout(
        name=_title(desk),
        scale=_scale(desk),
        frames_per_second=_rate(desk),
        restore_within=_restore_within(desk),
        keeping=read_keeping(desk),
        broker=_broker(desk),
        sources=_sources(desk),
        outputs=_outputs(desk, planting.chains),
        chains=tuple(planting.chains),
        districts=tuple(districts),
        blocks=tuple(blocks),
        turnouts=tuple(read_turnouts(desk, blocks)),
        signals=tuple(signals),
        lights=tuple(lights),
        crossings=tuple(crossings),
        colours=colours,
        colour_marks=marks,
        builds=tuple(build for build in builds.values() if build is not None),
        lamp_names=desk.lamp_names,
        zones=tuple(zones),
        still=read_still(desk, names),
        dies=dies,
    )


def _unknown_sections(desk: Desk) -> None:
    """Note keys at the top that mean nothing; those that follow an empty section are likely its own."""
    empty: str | None = None
    told = False
    for key, value in desk.document.data.items():
        if key in SECTIONS:
            empty, told = key if value is None and key in MAPPINGS else None, False
        elif empty is None:
            desk.key_error((key,), f"no key {said(key)} belongs here; {choice(key, SECTIONS)}")
        elif not told:
            desk.key_error((empty,), nothing_below(empty, desk.key_mark((key,)).line))
            desk.unread.add(empty)
            told = True


def _title(desk: Desk) -> str:
    title = desk.document.data.get("layout")
    if "layout" not in desk.document.data:
        desk.error_at(
            START, "the key 'layout' is missing: give the layout a name, such as `layout: Fernhollow`"
        )
    elif (
        isinstance(title, dict | list | bool | None) or not str(title).strip() or not str(title).isprintable()
    ):
        desk.error(("layout",), f"{said(title)} does not fit: the name of the layout is one line of text")
    return str(title)


def _scale(desk: Desk) -> str:
    scale = desk.document.data.get("scale")
    if scale is not None and str(scale) not in SCALES:
        desk.error(("scale",), f"no scale is called {said(scale)}; {choice(scale, SCALES)}")
    return "" if scale is None else str(scale)


def _rate(desk: Desk) -> int:
    rate = desk.document.data.get("frames-per-second", DEFAULT_FRAMES_PER_SECOND)
    if not isinstance(rate, int) or isinstance(rate, bool) or rate not in FRAMES_PER_SECOND:
        low, high = FRAMES_PER_SECOND[0], FRAMES_PER_SECOND[-1]
        desk.error(
            ("frames-per-second",), f"{said(rate)} does not fit: write a whole number from {low} to {high}"
        )
        return DEFAULT_FRAMES_PER_SECOND
    return rate


def _restore_within(desk: Desk) -> int:
    """How old orders may be that are taken up again after a restart."""
    said_so = desk.document.data.get("restore-within")
    if said_so is None:
        return DEFAULT_RESTORE_WITHIN
    try:
        return duration(said_so)
    except ValueError as problem:
        desk.error(("restore-within",), str(problem))
        return DEFAULT_RESTORE_WITHIN


def _broker(desk: Desk) -> BrokerPlace:
    data = desk.document.data.get("broker")
    if isinstance(data, str):
        host, colon, port = data.partition(":")
        example = f"host: {host}, port: {port}" if colon else f"host: {host}"
        shown = f"{{{example}}}" if len(data) <= LONGEST else "{host: 127.0.0.1}"
        desk.error(("broker",), f"{said(data)} does not fit: a mapping is needed, such as {shown}")
        return BrokerPlace()
    entry = None if data is None else desk.entry(BrokerEntry, data, ("broker",))
    if entry is None:
        return BrokerPlace()
    return BrokerPlace(entry.host, entry.port, entry.user or "", entry.password_file or "")


def _sources(desk: Desk) -> tuple[Source, ...]:
    sources = []
    for key, data, path in desk.section("sources"):
        entry = desk.entry(SourceEntry, data, path)
        if entry is not None:
            mark, own = desk.key_mark(path), dict(entry.model_extra or {})
            habits = (entry.repeat_window, entry.refresh_every, entry.lost_after)
            sources.append(Source(key, entry.kind, *habits, own, mark))
    if desk.document.data.get("sources") is None:
        sources.append(Source(DEFAULT_SOURCE, "mqtt", 0, 0, 0, {}, START))
    return tuple(sources)


def _outputs(desk: Desk, chains: list[Chain]) -> tuple[Output, ...]:
    """Read the section `outputs`; the one called `mqtt` is there without being written."""
    outputs: dict[str, Output | None] = {}
    for key, data, path in desk.section("outputs"):
        entry = desk.entry(OutputEntry, data, path)
        outputs[key] = None  # one with an error still has its name
        if entry is not None:
            marks = desk.document.below(path)
            outputs[key] = Output(key, entry.kind, dict(entry.model_extra or {}), desk.key_mark(path), marks)
    outputs.setdefault(DEFAULT_OUTPUT, Output(DEFAULT_OUTPUT, DEFAULT_OUTPUT, {}, START))
    for node, name in {chain.node: chain.output for chain in chains}.items():
        if name not in outputs and "outputs" not in desk.unread:
            text = f"no output is called {said(name)}; {choice(name, outputs)}, and `outputs` names more"
            desk.error(("nodes", node, "output"), text)
    return tuple(output for output in outputs.values() if output is not None)
