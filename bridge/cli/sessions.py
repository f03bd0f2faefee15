"""The commands about recorded sessions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from bridge.cli.shared import FAILED, OK, UNREADABLE, Headway, err, look, out, print_json, say_findings
from bridge.errors import LamproomError

if TYPE_CHECKING:
    from bridge.events import Instant
    from bridge.picture.gather import Gatherer
    from bridge.picture.timeline import Timeline

PICTURES: Final = (".svg", ".html")
"""How the name of a picture ends."""

LogPath = Annotated[str, typer.Argument(metavar="LOG", hidden=True)]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for another program.")]


def replay(  # noqa: PLR0913, PLR0917 - each option is an argument
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
    picture: Annotated[
        Path | None,
        typer.Option(metavar="OUT", help="Also draw what was shown: OUT ends in .svg, or .html with tables."),
    ] = None,
    device: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Draw and count this device only; again for each."),
    ] = None,
    statistics: Annotated[
        bool, typer.Option("--statistics", help="Also print what there is to count.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Play the session log LOG again and compare every frame, byte for byte.

    A TIME is 15:30 by the clock on the wall, 2026-11-28 15:30:12, +12:30 since it began, #4711 for an event, or model
    16:45 by the model clock.
    """
    from bridge.record.replay import replay as replay_log  # noqa: PLC0415 - see the head of the package
    from bridge.record.replay import report_lines  # noqa: PLC0415

    path = Path(log)
    _drawable(picture)
    if device and picture is None and not statistics:
        raise LamproomError("--device goes with --picture or --statistics: every device is compared anyhow")
    text = None if layout is None else _text(layout)
    begin, end = _instants(path, since, until)
    gatherer = _gatherer(begin, end, device) if picture is not None or statistics else None
    with Headway() as headway:
        result = replay_log(path, text, since=begin or 0, until=end, progress=headway.at, watcher=gatherer)
    timeline = None if gatherer is None else gatherer.timeline()
    if as_json:
        print_json(result.to_data() | _counted(timeline if statistics else None))
    else:
        for line in report_lines(result):
            out(line)
        if timeline is not None and statistics:
            from bridge.picture.page import statistics_lines  # noqa: PLC0415

            for line in statistics_lines(timeline.statistics):
                out(line)
    if timeline is not None and picture is not None:
        _draw(picture, timeline, result.notes)
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


def _drawable(picture: Path | None) -> None:
    """Look whether a picture can be written, before a long session is played for it."""
    if picture is None:
        return
    if picture.suffix not in PICTURES:
        raise LamproomError(f"--picture {picture}: let its name end in {' or '.join(PICTURES)}")
    if not picture.parent.is_dir():
        raise LamproomError(f"--picture {picture}: there is no directory {picture.parent}")


def _gatherer(since: Instant | None, until: Instant | None, devices: list[str] | None) -> Gatherer:
    from bridge.picture.gather import Gatherer  # noqa: PLC0415 - see the head of the package
    from bridge.service.screen import describe  # noqa: PLC0415

    # Lamps look as they do on the page.
    return Gatherer(lambda layout: describe(layout, ""), since=since or 0, until=until, devices=devices or ())


def _counted(timeline: Timeline | None) -> dict[str, Any]:
    return {} if timeline is None else {"statistics": timeline.statistics.to_data()}


def _draw(picture: Path, timeline: Timeline, notes: tuple[str, ...]) -> None:
    from bridge.picture.page import page  # noqa: PLC0415 - see the head of the package
    from bridge.picture.svg import draw  # noqa: PLC0415

    text = draw(timeline) if picture.suffix == ".svg" else page(timeline, notes)
    try:
        picture.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise LamproomError(f"--picture {picture}: it cannot be written: {problem.strerror}") from None
    err(f"drawn: {picture}")


def _text(file: str) -> str:
    looked = look(file)
    say_findings(looked)
    if looked.layout is None:
        raise typer.Exit(UNREADABLE)
    return looked.text


def _instants(path: Path, *words: str | None) -> tuple[Instant | None, ...]:
    from bridge.record.times import instants, parse_moment  # noqa: PLC0415 - see the head of the package

    return instants(path, *(None if word is None else parse_moment(word) for word in words))
