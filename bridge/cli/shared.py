"""What the commands share: how they look, how they speak, and the options that several of them have."""

from __future__ import annotations

import contextlib
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
import typer.core

if TYPE_CHECKING:
    from bridge.service.files import LayoutFile

OK: Final = 0
FAILED: Final = 1
UNREADABLE: Final = 2

# What stands in the place of an argument is told in the text of its command; a list of them would only add its type.
LayoutPath = Annotated[str, typer.Argument(metavar="FILE", hidden=True)]
OptionalLayoutPath = Annotated[str | None, typer.Argument(metavar="FILE", hidden=True)]
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


class Command(typer.core.TyperCommand):
    """A command whose usage shows what to type, without brackets around it."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """Return the words behind the command's name."""
        return [piece.rstrip(".").strip("{}.") for piece in super().collect_usage_pieces(ctx)]


def out(line: str) -> None:
    """Print a line of what was asked for."""
    typer.echo(line)


def err(line: str) -> None:
    """Print a line about how it goes."""
    typer.echo(line, err=True)


def look(file: str) -> LayoutFile:
    """Read a layout file, and look for mistakes in it."""
    from bridge.service.files import read_file  # noqa: PLC0415 - see the head of the package
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    return read_file(file, Adapters())


def say_findings(looked: LayoutFile) -> None:
    """Tell what was found in a layout file."""
    for line in looked.lines():
        err(line)


def print_json(data: Any) -> None:
    """Print data for another program; whoever reads it may stop at any moment."""
    with contextlib.suppress(BrokenPipeError):
        sys.stdout.write(json.dumps(data, ensure_ascii=False, indent=2) + "\n")
