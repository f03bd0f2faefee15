"""Whose lamps are lent to the bench: those of a bridge that runs, or of one that is started for as long as it takes."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Final

from bridge.errors import LamproomError, LinkError
from bridge.layout import Layout
from bridge.service.app import Bridge, Settings, broker_place
from bridge.service.bench import OWN_NAME, Bench
from bridge.service.plugins import Adapters
from bridge.service.visitor import CONNECT_WITHIN, HEAR_WITHIN

_OWN_BEGINS: Final = (
    "A bridge is started here with the file as it would be. It lights the whole layout at once, what is new with it: "
    "signals at their most restrictive aspect, lights dark. Begin?"
)

CAUTIONS: Final = (
    "Take care: lamps go on and off, and signals show false aspects, on models only. Flashing light can harm people",
    "with photosensitive epilepsy: warn who is near. A chip that is fully lit draws the most it can, and a short",
    "circuit that was hidden shows now: fuse each feed, and switch off what smells or grows hot. Ctrl-C ends a test.",
)


@asynccontextmanager
async def at_bench(
    settings: Settings, adapters: Adapters, say: Callable[[str], None], *, alone: str = ""
) -> AsyncIterator[Bench | None]:
    """Give a bench with a bridge, the one that runs or else our own, and leave the lamps as they were.

    Args:
        settings: of our own bridge.
        adapters: those that are installed.
        say: prints a line.
        alone: what keeps any other bridge than our own from it, as in `has no frame for ...`; empty where any can.

    Yields:
        The bench; None where our own bridge alone could do it, and whoever sits there does not want it to begin.

    Raises:
        LamproomError: the layout has no source of MQTT, or a bridge runs that cannot do it.
        LinkError: the broker cannot be reached, or takes no frames.
    """
    root = _root(settings.layout)
    place = broker_place(settings.layout, settings.looked.name, settings.broker)
    bench = Bench(place, settings.layout.name, root, say)
    own: Bridge | None = None
    try:
        await bench.open()
        found = await bench.find(HEAR_WITHIN)
        if found and alone:
            raise LamproomError(
                f"the bridge {bench.bridge} {alone}: end that bridge, do this again, and start it anew afterwards"
            )
        if alone:
            _caution(say)
            if not await bench.agrees(_OWN_BEGINS):
                yield None
                return
        if not found:
            say("no bridge drives this layout here: one is started for as long as this takes")
            own = Bridge(replace(settings, page=None, name=OWN_NAME), adapters)
            await own.start()
            if not await bench.find_own(CONNECT_WITHIN):
                raise LinkError(f"the broker at {place} takes no frames from here", peer=str(place))
        if not alone:
            _caution(say)
        yield bench
    finally:
        await bench.close()
        if own is not None:
            await own.stop()


def _caution(say: Callable[[str], None]) -> None:
    for line in CAUTIONS:
        say(line)


def _root(layout: Layout) -> str:
    for source in layout.sources:
        if source.kind == "mqtt":
            return str(source.options.get("root", "layout"))
    raise LamproomError(
        "a lamp test is asked for by MQTT, and this layout has no source of that kind: "
        "add one, such as `sources: {bus: {kind: mqtt}}`"
    )
