"""The commands: here the parts are put together, and nowhere else.

Each command imports what it needs when it is called, so that the short ones answer at once.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated, Final

import typer

from bridge import __version__
from bridge.cli import installed, layouts, running, sessions, telling, trying, wiring
from bridge.cli.shared import OK, UNREADABLE, Command, err, out
from bridge.errors import LamproomError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="The signals and lights of your model railroad: orders come in, and the LEDs show them.",
)

COMMANDS: Final = (
    (layouts.check, "Look for mistakes in a layout file."),
    (running.run, "Light your layout, until Ctrl-C."),
    (running.demo, "Try it: an invented layout with pretend trains."),
    (telling.send, "Send one order or report by hand."),
    (sessions.replay, "Play a session again and compare every frame."),
    (sessions.why, "Say why a device showed what it showed."),
    (sessions.compare, "Compare what a session shows under two layout files."),
    (sessions.keep, "Keep a fault, so that `check` tells if it comes back."),
    (sessions.rehearse, "Show a session on the nodes, without trains."),
    (sessions.import_, "Make a session of a table from elsewhere."),
    (trying.lamps, "Light lamps one by one, to see how they are wired."),
    (wiring.built, "Confirm that what was planned is soldered."),
    (wiring.chip, "Say that a chip is broken, bypassed or whole."),
    (layouts.node, "Make the files for the board of a node."),
    (installed.adapters, "List the buses and controllers that it can talk to."),
)
"""Every command with its line in the list of them, in the order of that list."""

for _command, _line in COMMANDS:
    # A word of Python has a mark behind it in its own file.
    app.command(_command.__name__.rstrip("_"), cls=Command, short_help=_line)(_command)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit with its status."""
    try:
        app(args=None if arguments is None else list(arguments), standalone_mode=True)
    except LamproomError as problem:
        err(f"lamproom: {problem}")
        sys.exit(UNREADABLE)


def _version(wanted: bool) -> None:
    if wanted:
        out(f"lamproom {__version__}")
        raise typer.Exit(OK)


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    del version
