"""What the commands share: how they look, how they speak, and the options that several of them have."""

from __future__ import annotations

import contextlib
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Self

import typer
import typer.core

from bridge.errors import LamproomError

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

    from bridge.layout import Layout
    from bridge.service.app import Settings
    from bridge.service.files import LayoutFile

OK: Final = 0
FAILED: Final = 1
UNREADABLE: Final = 2

SHOWN_AFTER: Final = 1.0
"""Seconds until it is shown how far something has come."""

# What stands in the place of an argument is told in the text of its command; a list of them would only add its type.
LayoutPath = Annotated[str, typer.Argument(metavar="FILE", hidden=True)]
OptionalLayoutPath = Annotated[str | None, typer.Argument(metavar="FILE", hidden=True)]
StateOption = Annotated[
    Path | None,
    typer.Option("--state", metavar="DIRECTORY", help="Where session logs and the last state are kept."),
]
BrokerOption = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="The MQTT broker, instead of the layout file's."),
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


class Headway:
    """Shows on a terminal how far something has come, once that takes longer than a second."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._wanted = sys.stderr.isatty()
        self._bar: Progress | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> Self:
        """Begin to watch the time."""
        return self

    def __exit__(self, *_problem: object) -> None:
        """Take the bar away."""
        if self._bar is not None:
            self._bar.stop()

    def at(self, instant: int) -> None:
        """Say that it has come to an instant of the session."""
        self._show("played {}", instant, _short_time)

    def tried(self, count: int) -> None:
        """Say how much was tried."""
        self._show("tried {}", count, str)

    def _show(self, words: str, number: int, written: Callable[[int], str]) -> None:
        if not self._wanted:
            return
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, words=words.format(written(number)))
        elif time.monotonic() - self._began >= SHOWN_AFTER:
            from rich.console import Console  # noqa: PLC0415 - what is quick does not need it
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn  # noqa: PLC0415

            columns = TextColumn("{task.fields[words]}"), BarColumn(), TimeElapsedColumn()
            self._bar = Progress(*columns, console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task("", total=None, words=words.format(written(number)))
            self._bar.start()


def _short_time(instant: int) -> str:
    minutes, seconds = divmod(instant // 10**9, 60)
    return f"{minutes // 60}:{minutes % 60:02}:{seconds:02}"


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


def time_limit(seconds: int | None) -> int | None:
    """Return the time limit of a lamp test that somebody asked for, or None.

    Raises:
        LamproomError: nothing may be tried for so long.
    """
    from bridge.trial.running import LONGEST  # noqa: PLC0415 - see the head of the package

    if seconds is not None and seconds not in range(1, LONGEST + 1):
        raise LamproomError(f"--for {seconds}: write a number of seconds from 1 to {LONGEST}")
    return seconds


def bench_settings(looked: LayoutFile, layout: Layout, broker: str | None, state: Path | None) -> Settings:
    """Return how a bridge runs that only lights what is tried, and how its broker is found."""
    from bridge.service.address import Address  # noqa: PLC0415 - see the head of the package
    from bridge.service.app import Settings  # noqa: PLC0415
    from bridge.service.logs import set_up_logs  # noqa: PLC0415

    set_up_logs("warning")
    return Settings(
        looked=looked,
        layout=layout,
        broker=None if broker is None else Address.parse(broker, 1883),
        state=state,
        page=None,
    )
