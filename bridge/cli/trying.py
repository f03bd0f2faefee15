"""The command that tries lamps out."""

from __future__ import annotations

from typing import Annotated

import typer

from bridge.cli.shared import (
    UNREADABLE,
    BrokerOption,
    LayoutPath,
    StateOption,
    bench_settings,
    err,
    look,
    out,
    say_findings,
    time_limit,
)
from bridge.errors import LamproomError


def lamps(
    file: LayoutPath,
    by: Annotated[
        str | None,
        typer.Option(
            metavar="WAY", help="What lights: chips, channels, together or blink; else you are asked."
        ),
    ] = None,
    area: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Where: all, a node, a chain as NODE/CHAIN, a fixture or a device."
        ),
    ] = None,
    seconds: Annotated[
        int | None,
        typer.Option("--for", metavar="SECONDS", help="The time limit on each chain, up to an hour."),
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Begin at once; only where it is about a single chain.")
    ] = False,
    broker: BrokerOption = None,
    state: StateOption = None,
) -> None:
    """Light the lamps of the layout file FILE, to see whether each is there and wired as the file says.

    \b
    chips      each chip in turn, all of it lit
    channels   each channel in turn
    together   all chips together: their first channels, then their second ones
    blink      one fixture or device, to find it

    Signals show false aspects meanwhile, so each chain is confirmed before it begins. When its time is over the chain
    shows what it should again. A bridge that runs is asked to do it; where none runs, one runs for as long.
    """  # noqa: D301 - the mark keeps the lines apart, and is meant to be one character
    import asyncio  # noqa: PLC0415 - see the head of the package

    from bridge.layout.findings import either  # noqa: PLC0415
    from bridge.service.lamps import WAYS, Wanted, run_lamps  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    if by is not None and by not in WAYS:
        raise LamproomError(f"--by {by}: write {either(WAYS)}")
    limit = time_limit(seconds)
    looked = look(file)
    if looked.layout is None:
        say_findings(looked)
        err(f"{file} has errors: no lamp was lit.")
        raise typer.Exit(UNREADABLE)
    settings = bench_settings(looked, looked.layout, broker, state)
    way = next((way for way in WAYS if way == by), None)
    asyncio.run(run_lamps(settings, Adapters(), Wanted(way, area, limit or 0, yes), out))
