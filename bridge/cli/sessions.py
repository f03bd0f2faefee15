"""The commands about recorded sessions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bridge.cli.shared import FAILED, OK, UNREADABLE, Headway, look, out, print_json, say_findings

if TYPE_CHECKING:
    from bridge.events import Instant

LogPath = Annotated[str, typer.Argument(metavar="LOG", hidden=True)]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for another program.")]


def replay(
    log: LogPath,
    layout: Annotated[
        str | None,
        typer.Option("--layout", metavar="FILE", help="Another layout file than the one kept in the log."),
    ] = None,
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="Begin at the last snapshot before this.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--to", metavar="TIME", help="Leave out what came after.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Play the session log LOG again and compare every frame, byte for byte.

    A TIME is 15:30 by the clock on the wall, 2026-11-28 15:30:12, +12:30 since it began, #4711 for an event, or model
    16:45 by the model clock.
    """
    from bridge.record.replay import replay as replay_log  # noqa: PLC0415 - see the head of the package
    from bridge.record.replay import report_lines  # noqa: PLC0415

    path = Path(log)
    text = None if layout is None else _text(layout)
    begin, end = _instants(path, since, until)
    with Headway() as headway:
        result = replay_log(path, text, since=begin or 0, until=end, progress=headway.at)
    if as_json:
        print_json(result.to_data())
    else:
        for line in report_lines(result):
            out(line)
    raise typer.Exit(OK if result.same and result.whole else FAILED)


def compare(
    log: LogPath,
    old: Annotated[str, typer.Argument(metavar="OLD", hidden=True)],
    new: Annotated[str, typer.Argument(metavar="NEW", hidden=True)],
    as_json: AsJson = False,
) -> None:
    """Play the session log LOG through the layout files OLD and NEW, and say where they differ: which device, when, for
    how long, and why.
    """  # noqa: D205 - one sentence that takes two lines
    from bridge.record.compare import compare as compare_log  # noqa: PLC0415 - see the head of the package
    from bridge.record.compare import comparison_lines  # noqa: PLC0415

    texts = _text(old), _text(new)
    with Headway() as headway:
        found = compare_log(Path(log), *texts, headway.at)
    if as_json:
        print_json(found.to_data())
    else:
        for line in comparison_lines(found):
            out(line)
    raise typer.Exit(OK if found.same else FAILED)


def _text(file: str) -> str:
    looked = look(file)
    say_findings(looked)
    if looked.layout is None:
        raise typer.Exit(UNREADABLE)
    return looked.text


def _instants(path: Path, *words: str | None) -> tuple[Instant | None, ...]:
    from bridge.record.times import instants, parse_moment  # noqa: PLC0415 - see the head of the package

    return instants(path, *(None if word is None else parse_moment(word) for word in words))
