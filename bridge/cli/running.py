"""The commands that run until they are ended."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bridge.cli.shared import (
    FAILED,
    LayoutPath,
    LogLevelOption,
    PageOption,
    StateOption,
    err,
    out,
    say_findings,
)
from bridge.errors import LamproomError

if TYPE_CHECKING:
    from bridge.service.screen import Screen
    from bridge.web.server import Page


def run(
    file: LayoutPath,
    broker: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="The MQTT broker, HOST, HOST:PORT or a port of this machine, instead of the layout file's.",
        ),
    ] = None,
    state: StateOption = None,
    page: PageOption = "127.0.0.1:8470",
    name: Annotated[
        str, typer.Option(metavar="NAME", help="What this bridge is called on the broker.")
    ] = "main",
    number: Annotated[
        int,
        typer.Option(metavar="NUMBER", help="Its own number, 0 to 255, where several bridges take turns."),
    ] = 0,
    log_level: LogLevelOption = "info",
) -> None:
    """Light the layout that the file FILE describes, until Ctrl-C.

    Orders come from the MQTT broker, and frames for the LEDs go out to it.
    """
    import asyncio  # noqa: PLC0415 - see the head of the package

    from bridge.service.address import Address  # noqa: PLC0415
    from bridge.service.app import Settings, run_until_stopped  # noqa: PLC0415
    from bridge.service.files import read_file  # noqa: PLC0415
    from bridge.service.logs import set_up_logs  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    if number not in range(256):
        raise typer.BadParameter(f"{number} is not from 0 to 255", param_hint="--number")
    set_up_logs(_log_level(log_level))
    adapters = Adapters()
    looked = read_file(file, adapters)
    say_findings(looked)
    layout = looked.layout or looked.as_far
    if layout is None:
        err(f"{file} has errors: nothing was started. `lamproom check` shows them again.")
        raise typer.Exit(FAILED)
    if looked.as_far is not None:
        err(
            "all these errors are of outputs: the other outputs run, and signals that hang on these count as unknown"
        )
    settings = Settings(
        looked=looked,
        layout=layout,
        broker=None if broker is None else Address.parse(broker, 1883),
        state=state,
        page=None if page == "none" else Address.parse(page, 8470),
        name=_bridge_name(name),
        number=number,
    )
    asyncio.run(run_until_stopped(settings, adapters, make_page=_page, ready=_say_ready))


def demo(
    page: PageOption = "127.0.0.1:0",
    state: StateOption = None,
    log_level: LogLevelOption = "warning",
) -> None:
    """Show everything without any hardware, until Ctrl-C.

    An invented layout with pretend trains and pretend LEDs, a broker of its own, and the page to watch it on.
    """
    import asyncio  # noqa: PLC0415 - see the head of the package

    from bridge.service.address import Address  # noqa: PLC0415
    from bridge.service.demo.run import run_demo  # noqa: PLC0415 - and its broker is an extra
    from bridge.service.logs import set_up_logs  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    set_up_logs(_log_level(log_level))
    address = None if page == "none" else Address.parse(page, 0)
    asyncio.run(run_demo(address, state, Adapters(), make_page=_page, ready=_say_demo))


def _page(view: Screen, host: str, port: int) -> Page:
    from bridge.web.server import Page  # noqa: PLC0415 - see the head of the package

    return Page(view, host=host, port=port)


def _say_ready(page: str | None, log: Path) -> None:
    if page is not None:
        err(f"the page is at {page}")
    err(f"the session log is {log}")
    err("running; Ctrl-C ends it")


def _say_demo(page: str | None, broker: str, log: Path) -> None:
    out(f"lamproom demo: open {page}" if page else "lamproom demo: running without a page")
    out(f"its broker is at {broker}, its session log is {log}; Ctrl-C ends it")


def _bridge_name(word: str) -> str:
    """It becomes part of a topic, so it is a name like those in the layout file."""
    from bridge.layout.units import name as checked_name  # noqa: PLC0415 - keeps the other commands quick

    try:
        return checked_name(word)
    except ValueError as problem:
        raise LamproomError(f"--name {word}: {problem}") from None


def _log_level(word: str) -> str:
    levels = ("debug", "info", "warning", "error")
    if word not in levels:
        raise typer.BadParameter(f"{word!r} is none of {', '.join(levels)}", param_hint="--log-level")
    return word
