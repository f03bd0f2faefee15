"""The commands: here the parts are put together, and nowhere else."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from bridge import __version__
from bridge.errors import LamproomError
from bridge.service.app import Address, Settings, run_until_stopped
from bridge.service.files import LayoutFile, read_file
from bridge.service.logs import set_up_logs
from bridge.service.plugins import Adapters
from bridge.service.screen import Screen
from bridge.service.send import Fact, fact_message, send_fact
from bridge.web.server import Page

OK, FAILED, UNREADABLE = 0, 1, 2

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Signals and lights of a model railroad layout: layout events in, finished frames for LED chains out.",
)
_out = Console(highlight=False, soft_wrap=True, markup=False, emoji=False)
_err = Console(stderr=True, highlight=False, soft_wrap=True, markup=False, emoji=False)

LayoutPath = Annotated[str, typer.Argument(metavar="FILE", help="The layout file.")]
StateOption = Annotated[
    Path | None, typer.Option("--state", help="Directory for the session logs and what outlives a run.")
]
PageOption = Annotated[
    str,
    typer.Option(
        "--page", help="Where the page is served: HOST:PORT, or `none`. Anyone who reaches it can read."
    ),
]
BrokerOption = Annotated[
    str | None,
    typer.Option("--broker", help="The MQTT broker, HOST or HOST:PORT, instead of the layout file's."),
]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit with its status."""
    try:
        app(args=None if arguments is None else list(arguments), standalone_mode=True)
    except LamproomError as problem:
        _err.print(f"lamproom: {problem}")
        sys.exit(UNREADABLE)


def _version(wanted: bool) -> None:
    if wanted:
        _out.print(f"lamproom {__version__}")
        raise typer.Exit(OK)


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    del version


@app.command()
def check(
    file: LayoutPath,
    as_json: Annotated[bool, typer.Option("--json", help="Print the findings as JSON.")] = False,
) -> None:
    """Look at a layout file: FILE:LINE:COLUMN: level: message, a line each."""
    looked = read_file(file, Adapters())
    if as_json:
        _print_json(
            [
                {
                    "file": file,
                    "line": finding.mark.line,
                    "column": finding.mark.column,
                    "level": finding.level.value,
                    "message": finding.message,
                }
                for finding in looked.findings
            ]
        )
    else:
        _print_findings(looked, _out)
        if looked.layout is not None:
            _out.print(f"{file}: {_summary(looked)}")
    raise typer.Exit(OK if looked.layout is not None else FAILED)


@app.command()
def run(
    file: LayoutPath,
    broker: BrokerOption = None,
    state: StateOption = None,
    page: PageOption = "127.0.0.1:8470",
    name: Annotated[str, typer.Option(help="The name of this bridge on the broker.")] = "main",
    number: Annotated[int, typer.Option(min=0, max=255, help="Its number, where several take turns.")] = 0,
    log_level: Annotated[str, typer.Option(help="debug, info, warning or error.")] = "info",
) -> None:
    """Drive a layout on your own MQTT broker, until Ctrl-C or SIGTERM."""
    set_up_logs(_log_level(log_level))
    adapters = Adapters()
    looked = read_file(file, adapters)
    _print_findings(looked, _err)
    if looked.layout is None:
        _err.print(f"{file} has errors: nothing was started. `lamproom check` shows them again.")
        raise typer.Exit(FAILED)
    settings = Settings(
        looked=looked,
        layout=looked.layout,
        broker=None if broker is None else Address.parse(broker, 1883),
        state=state,
        page=None if page == "none" else Address.parse(page, 8470),
        name=name,
        number=number,
    )
    asyncio.run(run_until_stopped(settings, adapters, make_page=_page, ready=_say_ready))


@app.command()
def demo(
    page: PageOption = "127.0.0.1:0",
    state: StateOption = None,
    log_level: Annotated[str, typer.Option(help="debug, info, warning or error.")] = "warning",
) -> None:
    """Show everything with pretend trains: a broker, an invented layout, pretend nodes, and the page."""
    from bridge.service.demo.run import run_demo  # noqa: PLC0415 - the demo's broker is an extra

    set_up_logs(_log_level(log_level))
    address = None if page == "none" else Address.parse(page, 0)
    asyncio.run(run_demo(address, state, Adapters(), make_page=_page, ready=_say_demo))


@app.command()
def replay(
    log: Annotated[str, typer.Argument(metavar="LOG", help="A session log.")],
    layout: Annotated[
        str | None, typer.Option("--layout", help="Another layout file than the one in the log.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Replay a session log and compare every frame, byte for byte."""
    from bridge.record.replay import replay as replay_log  # noqa: PLC0415 - keeps the other commands quick
    from bridge.record.replay import report_lines  # noqa: PLC0415

    text = None
    if layout is not None:
        looked = read_file(layout, Adapters())
        _print_findings(looked, _err)
        if looked.layout is None:
            raise typer.Exit(UNREADABLE)
        text = looked.text
    result = replay_log(Path(log), text)
    if as_json:
        _print_json(result.to_data())
    else:
        for line in report_lines(result):
            _out.print(line)
    raise typer.Exit(OK if result.same else FAILED)


@app.command()
def send(
    kind: Annotated[Fact, typer.Argument(help="What it is about.")],
    words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="Which one, and what of it.")],
    broker: BrokerOption = None,
    root: Annotated[str, typer.Option(help="The topic that the facts stand below.")] = "layout",
    proved: Annotated[
        bool, typer.Option("--proved", help="An accessory is known to be there, not ordered.")
    ] = False,
    retain: Annotated[bool, typer.Option("--retain", help="Have the broker keep a copy.")] = False,
) -> None:
    """Send one event by hand.

    accessory 61 reverse; aspect 12 5; block tarn-2 occupied; power yard off; button platform pressed;
    clock 16:30 (and its rate, and `stopped`).
    """
    topic, payload = fact_message(kind, words, root=root, proved=proved)
    send_fact(Address.parse(broker or "127.0.0.1", 1883), topic, payload, retain=retain)
    _out.print(f"sent {payload} on {topic}")


def _page(view: Screen, host: str, port: int) -> Page:
    return Page(view, host=host, port=port)


def _say_ready(page: str | None, log: Path) -> None:
    if page is not None:
        _err.print(f"the page is at {page}")
    _err.print(f"the session log is {log}")
    _err.print("running; Ctrl-C ends it")


def _say_demo(page: str | None, broker: str, log: Path) -> None:
    _out.print(f"lamproom demo: open {page}" if page else "lamproom demo: running without a page")
    _out.print(f"its broker is at {broker}, its session log is {log}; Ctrl-C ends it")
    sys.stdout.flush()


def _log_level(word: str) -> str:
    levels = ("debug", "info", "warning", "error")
    if word not in levels:
        raise typer.BadParameter(f"{word!r} is none of {', '.join(levels)}", param_hint="--log-level")
    return word


def _print_findings(looked: LayoutFile, console: Console) -> None:
    for line in looked.lines():
        console.print(line)


def _summary(looked: LayoutFile) -> str:
    layout = looked.layout
    if layout is None:
        return ""
    chips = sum(len(chain.chips) for chain in layout.chains)
    return (
        f"no errors; {len(layout.signals)} signals and {len(layout.lights)} lights, "
        f"{chips} chips on {len(layout.chains)} chains"
    )


def _print_json(data: Any) -> None:
    with contextlib.suppress(BrokenPipeError):
        sys.stdout.write(json.dumps(data, ensure_ascii=False, indent=2) + "\n")
