"""The commands: here the parts are put together, and nowhere else.

Each command imports what it needs when it is called, so that the short ones answer at once.
"""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
import typer.core

from bridge import __version__
from bridge.errors import LamproomError

if TYPE_CHECKING:
    from bridge.layout import Layout
    from bridge.service.files import LayoutFile
    from bridge.service.screen import Screen
    from bridge.web.server import Page

OK, FAILED, UNREADABLE = 0, 1, 2


class _Command(typer.core.TyperCommand):
    """A command whose usage shows what to type, without brackets around it."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """Return the words behind the command's name."""
        return [piece.rstrip(".").strip("{}.") for piece in super().collect_usage_pieces(ctx)]


app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="The signals and lights of your model railroad: orders come in, and the LEDs show them.",
)

# What stands in the place of an argument is told in the text of its command; a list of them would only add its type.
LayoutPath = Annotated[str, typer.Argument(metavar="FILE", hidden=True)]
StateOption = Annotated[
    Path | None,
    typer.Option("--state", metavar="DIRECTORY", help="Where session logs and the last state are kept."),
]
PageOption = Annotated[
    str,
    typer.Option(
        "--page",
        metavar="ADDRESS",
        help="Where to open the page: HOST:PORT, a port of this machine, or none. Anyone who reaches it can look.",
    ),
]
LogLevelOption = Annotated[
    str, typer.Option(metavar="LEVEL", help="How much to tell: debug, info, warning or error.")
]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit with its status."""
    try:
        app(args=None if arguments is None else list(arguments), standalone_mode=True)
    except LamproomError as problem:
        _err(f"lamproom: {problem}")
        sys.exit(UNREADABLE)


def _out(line: str) -> None:
    typer.echo(line)


def _err(line: str) -> None:
    typer.echo(line, err=True)


def _version(wanted: bool) -> None:
    if wanted:
        _out(f"lamproom {__version__}")
        raise typer.Exit(OK)


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    del version


@app.command(cls=_Command, short_help="Look for mistakes in a layout file.")
def check(
    file: LayoutPath,
    as_json: Annotated[bool, typer.Option("--json", help="Print them as JSON, for another program.")] = False,
    prove: Annotated[
        bool,
        typer.Option(
            "--prove", help="Prove that no way of events lets trains meet where signals have routes."
        ),
    ] = False,
    minutes: Annotated[
        float, typer.Option(metavar="NUMBER", help="How long the proof of one group of signals may take.")
    ] = 5,
    state: StateOption = None,
) -> None:
    """Look for mistakes in the layout file FILE.

    Each is told in one line, with its place in the file: FILE:LINE:COLUMN: error or warning: what to do. A layout with
    errors cannot run; one with warnings can.
    """
    looked = _look(file)
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
        for line in looked.lines():
            _out(line)
        if looked.layout is not None:
            _out(f"{file}: {_summary(looked)}")
    proved = looked.layout is not None and (
        not prove or _prove(looked, looked.layout, state, minutes, _err if as_json else _out)
    )
    raise typer.Exit(OK if proved else FAILED)


@app.command(cls=_Command, short_help="Light your layout, until Ctrl-C.")
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
    import asyncio  # noqa: PLC0415 - see the head of this file

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
    _say_findings(looked)
    if looked.layout is None:
        _err(f"{file} has errors: nothing was started. `lamproom check` shows them again.")
        raise typer.Exit(FAILED)
    settings = Settings(
        looked=looked,
        layout=looked.layout,
        broker=None if broker is None else Address.parse(broker, 1883),
        state=state,
        page=None if page == "none" else Address.parse(page, 8470),
        name=_bridge_name(name),
        number=number,
    )
    asyncio.run(run_until_stopped(settings, adapters, make_page=_page, ready=_say_ready))


@app.command(cls=_Command, short_help="Try it: an invented layout with pretend trains.")
def demo(
    page: PageOption = "127.0.0.1:0",
    state: StateOption = None,
    log_level: LogLevelOption = "warning",
) -> None:
    """Show everything without any hardware, until Ctrl-C.

    An invented layout with pretend trains and pretend LEDs, a broker of its own, and the page to watch it on.
    """
    import asyncio  # noqa: PLC0415 - see the head of this file

    from bridge.service.address import Address  # noqa: PLC0415
    from bridge.service.demo.run import run_demo  # noqa: PLC0415 - and its broker is an extra
    from bridge.service.logs import set_up_logs  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    set_up_logs(_log_level(log_level))
    address = None if page == "none" else Address.parse(page, 0)
    asyncio.run(run_demo(address, state, Adapters(), make_page=_page, ready=_say_demo))


@app.command(cls=_Command, short_help="Play a session again and compare every frame.")
def replay(
    log: Annotated[str, typer.Argument(metavar="LOG", hidden=True)],
    layout: Annotated[
        str | None,
        typer.Option("--layout", metavar="FILE", help="Another layout file than the one kept in the log."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the result as JSON, for another program.")
    ] = False,
) -> None:
    """Play the session log LOG again and compare every frame, byte for byte."""
    from bridge.record.replay import replay as replay_log  # noqa: PLC0415 - see the head of this file
    from bridge.record.replay import report_lines  # noqa: PLC0415

    text = None
    if layout is not None:
        looked = _look(layout)
        _say_findings(looked)
        if looked.layout is None:
            raise typer.Exit(UNREADABLE)
        text = looked.text
    result = replay_log(Path(log), text)
    if as_json:
        _print_json(result.to_data())
    else:
        for line in report_lines(result):
            _out(line)
    raise typer.Exit(OK if result.same else FAILED)


@app.command(cls=_Command, short_help="Send one order or report by hand.")
def send(  # noqa: PLR0913, PLR0917 - each option is an argument
    kind: Annotated[str, typer.Argument(metavar="KIND", hidden=True)],
    words: Annotated[list[str], typer.Argument(metavar="WORDS", hidden=True)],
    broker: Annotated[
        str,
        typer.Option(metavar="ADDRESS", help="The MQTT broker: HOST, HOST:PORT or a port of this machine."),
    ] = "127.0.0.1:1883",
    user: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who you are there, if the broker wants to know.")
    ] = None,
    password_file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The file that holds the password of that user.")
    ] = None,
    root: Annotated[
        str, typer.Option(metavar="TOPIC", help="The topic below which the layout listens.")
    ] = "layout",
    proved: Annotated[
        bool, typer.Option("--proved", help="Say where an accessory was seen to be, instead of ordering it.")
    ] = False,
    retain: Annotated[
        bool, typer.Option("--retain", help="Let the broker keep a copy for those who come later.")
    ] = False,
) -> None:
    """Send one order or report by hand: KIND says what it is about, WORDS which one and what of it.

    \b
    accessory 61 reverse      normal, reverse, closed, thrown or released
    aspect 12 5               a signal by its number, and the number of an aspect
    block tarn-2 occupied     occupied, clear or unknown
    power yard off            on, off or shorted
    button platform pressed   pressed or released
    clock 16:30 6             time of day, and its rate or stopped
    use signal T4 out         out (with a reason, if you like), absent or in-use
    """  # noqa: D301 - the mark keeps the lines apart, and is meant to be one character
    from bridge.service.address import Address, read_password  # noqa: PLC0415 - see the head of this file
    from bridge.service.send import fact_message, kept_in_vain, send_fact  # noqa: PLC0415

    if (user is None) != (password_file is None):
        raise LamproomError("--user and --password-file go together: give both, or neither")
    topic, payload = fact_message(kind, words, root=root, proved=proved)
    place = Address.parse(broker, 1883)
    if user is not None and password_file is not None:
        place = Address(place.host, place.port, user, read_password(password_file))
    if retain and kept_in_vain(kind) and not proved:
        _err("lamproom: a kept order is no command: signals obey it now, and never the copy that is kept")
    send_fact(place, topic, payload, retain=retain)
    _out(f"sent {payload} on {topic}")


@app.command(cls=_Command, short_help="Make the files for the board of a node.")
def node(
    file: LayoutPath,
    name: Annotated[str, typer.Argument(metavar="NODE", hidden=True)],
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            metavar="DIRECTORY",
            help="Where to write the program and the settings; else they are printed.",
        ),
    ] = None,
    broker: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Where the node finds the broker: HOST or HOST:PORT."),
    ] = None,
    wifi: Annotated[
        str | None, typer.Option(metavar="NAME", help="The Wi-Fi network; none for a board with a cable.")
    ] = None,
    pin: Annotated[
        list[str] | None, typer.Option(metavar="CHAIN=PIN", help="The pin of a chain; again for each.")
    ] = None,
    hold: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CHAIN",
            help="A chain of house lights that go on as they are when nothing comes any more.",
        ),
    ] = None,
) -> None:
    """Make the files for the MicroPython board of the node NODE, from the layout file FILE.

    Done again after a change of the layout file, it keeps what was written into the settings by hand.
    """
    from bridge.service.address import Address  # noqa: PLC0415 - see the head of this file
    from bridge.service.node_settings import (  # noqa: PLC0415
        Wishes,
        as_text,
        node_settings,
        pins_of,
        poorly_timed,
        write_board,
    )

    looked = _look(file)
    _say_findings(looked)
    if looked.layout is None:
        raise typer.Exit(FAILED)
    place = None if broker is None else Address.parse(broker, 1883)
    wishes = Wishes(
        broker=None if place is None else (place.host, place.port),
        wifi="" if wifi == "none" else wifi,
        pins=pins_of(pin or ()),
        hold=frozenset(hold or ()),
    )
    if to is None:
        typer.echo(as_text(node_settings(looked.layout, name, wishes, {})), nl=False)
    else:
        _out(f"{to}: {', '.join(write_board(to, looked.layout, name, wishes))}")
    for line in poorly_timed(looked.layout, name):
        _err(line)


def _look(file: str) -> LayoutFile:
    from bridge.service.files import read_file  # noqa: PLC0415 - see the head of this file
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    return read_file(file, Adapters())


def _prove(
    looked: LayoutFile, layout: Layout, state: Path | None, minutes: float, say: Callable[[str], None]
) -> bool:
    try:
        from bridge.service.proving import prove_file  # noqa: PLC0415 - see the head of this file
    except ModuleNotFoundError as missing:
        if (missing.name or "").split(".")[0] != "oxidd":
            raise
        raise LamproomError(
            "--prove needs the library oxidd, which is an extra: install it by `pip install 'lamproom[proof]'`"
        ) from None
    from bridge.service.state import default_state_directory  # noqa: PLC0415

    directory = (state or default_state_directory()) / "proofs"
    return prove_file(looked, layout, directory, minutes, say)


def _page(view: Screen, host: str, port: int) -> Page:
    from bridge.web.server import Page  # noqa: PLC0415 - see the head of this file

    return Page(view, host=host, port=port)


def _say_ready(page: str | None, log: Path) -> None:
    if page is not None:
        _err(f"the page is at {page}")
    _err(f"the session log is {log}")
    _err("running; Ctrl-C ends it")


def _say_demo(page: str | None, broker: str, log: Path) -> None:
    _out(f"lamproom demo: open {page}" if page else "lamproom demo: running without a page")
    _out(f"its broker is at {broker}, its session log is {log}; Ctrl-C ends it")


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


def _say_findings(looked: LayoutFile) -> None:
    for line in looked.lines():
        _err(line)


def _summary(looked: LayoutFile) -> str:
    from bridge.layout.findings import count  # noqa: PLC0415 - see the head of this file

    layout = looked.layout
    if layout is None:
        return ""
    chips = sum(len(chain.chips) for chain in layout.chains)
    posts = sum(len(crossing.posts) for crossing in layout.crossings)
    return (
        f"no errors; {count(len(layout.signals) - posts, 'signal')} and {count(len(layout.lights), 'light')}, "
        f"{count(chips, 'chip')} on {count(len(layout.chains), 'chain')}"
        + (
            f", {count(posts, 'post')} of {count(len(layout.crossings), 'crossing')}"
            if layout.crossings
            else ""
        )
    )


def _print_json(data: Any) -> None:
    with contextlib.suppress(BrokenPipeError):
        sys.stdout.write(json.dumps(data, ensure_ascii=False, indent=2) + "\n")
