"""The commands about recorded sessions."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from bridge.cli.shared import (
    FAILED,
    OK,
    UNREADABLE,
    Headway,
    StateOption,
    err,
    look,
    out,
    print_json,
    say_findings,
)
from bridge.errors import DecodeError, LamproomError

if TYPE_CHECKING:
    from bridge.events import Instant
    from bridge.layout import Layout
    from bridge.picture.gather import Gatherer
    from bridge.picture.timeline import Timeline
    from bridge.record.cases import Case

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
    decisions: Annotated[
        bool, typer.Option("--decisions", help="Compare decisions alone and work out no light: far quicker.")
    ] = False,
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
    from bridge.record.decisions import replay_decisions  # noqa: PLC0415 - see the head of the package
    from bridge.record.reader import is_recorded  # noqa: PLC0415
    from bridge.record.replay import replay as replay_log  # noqa: PLC0415
    from bridge.record.replay import report_lines  # noqa: PLC0415
    from bridge.record.words import instant_text  # noqa: PLC0415

    path = Path(log)
    _drawable(picture)
    if decisions and (picture is not None or statistics):
        raise LamproomError(
            "--decisions works out no light: leave out --picture and --statistics, or --decisions"
        )
    if device and picture is None and not statistics:
        raise LamproomError("--device goes with --picture or --statistics: every device is compared anyhow")
    text = None if layout is None else _text(layout)
    begin, end = _instants(path, since, until)
    gatherer = _gatherer(begin, end, device) if picture is not None or statistics else None
    with Headway() as headway:
        if decisions:
            result = replay_decisions(path, text, since=begin or 0, until=end, progress=headway.at)
        else:
            result = replay_log(
                path, text, since=begin or 0, until=end, progress=headway.at, watcher=gatherer
            )
    result = replace(result, recorded=not result.ended and is_recorded(path))
    if gatherer is not None and begin is not None and begin > result.length and not result.goes_on:
        raise LamproomError(
            f"{path}: --from {since} is behind the end of this session, {instant_text(result.length)} after it began: "
            "there is nothing to draw or to count"
        )
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
    raise typer.Exit(OK if found.same and found.whole else FAILED)


def rehearse(  # noqa: PLR0913, PLR0917 - each option is an argument
    log: LogPath,
    speed: Annotated[
        float, typer.Option(metavar="NUMBER", help="How many seconds of the session pass in one, 0.1 to 100.")
    ] = 1,
    layout: Annotated[
        str | None,
        typer.Option("--layout", metavar="FILE", help="Another layout file than the one kept in the log."),
    ] = None,
    since: Annotated[str | None, typer.Option("--from", metavar="TIME", help="Begin here.")] = None,
    until: Annotated[str | None, typer.Option("--to", metavar="TIME", help="End here.")] = None,
    broker: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="The MQTT broker, instead of the layout file's."),
    ] = None,
    state: StateOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Begin without asking.")] = False,
) -> None:
    """Show the session log LOG on the real nodes, at its own speed or another: a rehearsal without trains.

    Signals show what they showed then, whatever is on the track now. It is refused while a bridge runs, nothing of it
    is recorded, and at its end, or at Ctrl-C, signals are restrictive and lights dark. A TIME is written as for
    `replay`.
    """
    import asyncio  # noqa: PLC0415 - see the head of the package

    from bridge.record.following import open_session  # noqa: PLC0415
    from bridge.service.address import Address  # noqa: PLC0415
    from bridge.service.app import broker_place  # noqa: PLC0415
    from bridge.service.files import look_at_text  # noqa: PLC0415
    from bridge.service.logs import set_up_logs  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415
    from bridge.service.rehearsal import SPEEDS, Plan  # noqa: PLC0415
    from bridge.service.rehearsal import rehearse as rehearse_session  # noqa: PLC0415
    from bridge.service.state import default_state_directory  # noqa: PLC0415

    if not SPEEDS[0] <= speed <= SPEEDS[1]:
        raise LamproomError(f"--speed {speed:g}: write a number from {SPEEDS[0]:g} to {SPEEDS[1]:g}")
    set_up_logs("warning")
    path = Path(log)
    text = None if layout is None else _text(layout)
    begin, end = _instants(path, since, until)
    session = open_session(path, text, since=begin or 0)
    file = layout or session.header.file
    adapters = Adapters()
    if layout is None:
        looked = look_at_text(f"the layout file within {path}", session.header.text.encode(), adapters)
        if looked.layout is None:
            say_findings(looked)
            raise typer.Exit(UNREADABLE)
    where = None if broker is None else Address.parse(broker, 1883)
    place = broker_place(session.layout, file, where)
    for line in _warnings(speed):
        out(line)
    if not yes and not _confirmed(f"Rehearse {session.layout.name} on the nodes of {place}?"):
        out("nothing was shown")
        raise typer.Exit(OK)
    plan = Plan(session, begin or 0, end, speed, place, state or default_state_directory())
    with Headway() as headway:
        asyncio.run(rehearse_session(plan, adapters, out, headway.at))
    out("the rehearsal is over: signals are restrictive, lights are dark")


def _confirmed(question: str) -> bool:
    try:
        return typer.confirm(question)
    except typer.Abort:
        raise LamproomError("nobody answered, so nothing was shown: --yes begins without asking") from None


def import_(
    table: Annotated[str, typer.Argument(metavar="TABLE", hidden=True)],
    layout: Annotated[
        str, typer.Option("--layout", metavar="FILE", help="The layout file that it is played through.")
    ],
    by: Annotated[str, typer.Option("--by", metavar="FILE", help="The file that says what a row means.")],
    to: Annotated[Path, typer.Option("--to", metavar="LOG", help="The session log to make.")],
) -> None:
    """Make a session log of TABLE, a table of events that were recorded elsewhere: CSV or lines of text.

    What cannot be used is told with its line, and the rest is used. The log can be played, compared and drawn like any
    other.
    """
    from bridge.service.importing import TOLD, import_table, read_description  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    adapters = Adapters()
    looked = look(layout)
    say_findings(looked)
    if looked.layout is None:
        raise typer.Exit(UNREADABLE)
    described = read_description(by, looked.layout, adapters)
    with Headway() as headway:
        found = import_table(Path(table), described, looked, looked.layout, adapters, to, headway.at)
    for line in found.told:
        err(line)
    if found.refused > TOLD:
        err(f"and {found.refused - TOLD} more rows that cannot be used")
    if not found.used:
        raise LamproomError(f"{table}: no row tells anything, so there is nothing to replay")
    for line in found.lines(to):
        out(line)
    raise typer.Exit(FAILED if found.refused else OK)


def _warnings(speed: float) -> list[str]:
    lines = ["Take care: signals and gates will show what they showed then. Let no train run meanwhile."]
    if speed > 1:
        lines.append(
            f"All that flashes does so {speed:g} times as fast: above three flashes a second it can harm people with "
            "photosensitive epilepsy. Warn who is near."
        )
    return lines


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


def why(
    log: LogPath,
    device: Annotated[str, typer.Argument(metavar="DEVICE", hidden=True)],
    moment: Annotated[
        str | None, typer.Option("--at", metavar="TIME", help="When; the end of the session if left out.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say why DEVICE showed what it showed in the session log LOG, since when, down to the events that caused it, and
    what it would have needed to show better.

    DEVICE is a signal, a light, a crossing, a zone, or the lock of a turnout, as in 'lock 14'. A TIME is 15:30 by the
    clock on the wall, 2026-11-28 15:30:12, +12:30 since it began, #4711 for an event, or model 16:45 by the model
    clock.
    """  # noqa: D205 - one sentence that takes two lines
    from bridge.record.times import parse_moment  # noqa: PLC0415 - see the head of the package
    from bridge.record.why import answer_lines  # noqa: PLC0415
    from bridge.record.why import why as ask  # noqa: PLC0415

    when = None if moment is None else parse_moment(moment)
    with Headway() as headway:
        answer = ask(Path(log), device, when, progress=headway.at)
    if as_json:
        print_json(answer.to_data())
    else:
        for line in answer_lines(answer):
            out(line)


def keep(  # noqa: PLR0913, PLR0917 - each option is an argument
    log: LogPath,
    device: Annotated[str, typer.Option("--device", metavar="NAME", help="The signal or light.")],
    should: Annotated[
        str,
        typer.Option(
            "--should",
            metavar="ASPECT",
            help="What it should have shown: an aspect, or 'not clear' and the like.",
        ),
    ],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="How the case shall be called.")],
    since: Annotated[
        str | None,
        typer.Option("--from", metavar="TIME", help="It was wrong after this; else since the start."),
    ] = None,
    until: Annotated[
        str | None, typer.Option("--to", metavar="TIME", help="It was wrong before this; else up to the end.")
    ] = None,
    showed: Annotated[
        str | None,
        typer.Option("--showed", metavar="ASPECT", help="Which of several wrong aspects is meant."),
    ] = None,
    because: Annotated[
        list[str] | None,
        typer.Option(
            "--because", metavar="#NUMBER", help="An event that should have changed it; again for each."
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="What you have to say about it.")] = "",
    layout: Annotated[
        str | None, typer.Option("--layout", metavar="FILE", help="Keep it beside this layout file.")
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a case of the same name.")] = False,
    as_json: AsJson = False,
) -> None:
    """Cut the session log LOG to the few events by which a device showed what it should not, and keep them beside the
    layout file as a case that `lamproom check` tries from then on.

    A TIME is written as for `lamproom replay`.
    """  # noqa: D205 - one sentence that takes two lines
    from bridge.layout.findings import count  # noqa: PLC0415 - see the head of the package
    from bridge.record.case_text import case_text  # noqa: PLC0415
    from bridge.record.keep import Wrong, kept_lines  # noqa: PLC0415
    from bridge.record.keep import keep as cut  # noqa: PLC0415
    from bridge.service.cases import case_path, layout_file_of, look_free, write_case  # noqa: PLC0415

    path = Path(log)
    file = layout or layout_file_of(path)
    place = case_path(file, name)
    look_free(place, replace=replace)
    begin, end = _instants(path, since, until)
    wrong = Wrong(device, should, showed or "", begin or 0, end, tuple(map(_number, because or ())))
    began = time.monotonic()
    present = look(file).layout
    with Headway() as headway:
        kept = cut(path, wrong, note, present=present, progress=headway.at, tried=headway.tried)
    took = time.monotonic() - began
    write_case(place, kept.case, replace=replace)
    now = _now(file, present, kept.case)
    if as_json:
        print_json(
            kept.to_data() | {"file": str(place), "text": case_text(kept.case), "seconds": took, "now": now}
        )
        return
    events = f"{count(kept.before, 'event')} cut to {len(kept.case.events)}"
    out(f"{place}: {events}, in {count(kept.trials, 'trial')} and {took:.1f} s")
    for line in (*kept_lines(kept), now):
        out(line)


def _text(file: str) -> str:
    looked = look(file)
    say_findings(looked)
    if looked.layout is None:
        raise typer.Exit(UNREADABLE)
    return looked.text


def _instants(path: Path, since: str | None, until: str | None) -> tuple[Instant | None, Instant | None]:
    from bridge.record.times import instants, parse_moment  # noqa: PLC0415 - see the head of the package

    begin, end = instants(path, *(None if word is None else parse_moment(word) for word in (since, until)))
    if begin is not None and end is not None and end <= begin:
        raise LamproomError(f"--to {until} is no later than --from {since}: nothing lies between them")
    return begin, end


def _number(word: str) -> int:
    number = word.removeprefix("#")
    if not (number.isascii() and number.isdigit()):
        raise DecodeError(f"{word!r} is no event: write its number, such as '#12'")
    return int(number)


def _now(file: str, present: Layout | None, case: Case) -> str:
    """Return whether the layout file as it stands now still has the fault, in words."""
    from bridge.record.cases import judge  # noqa: PLC0415 - see the head of the package

    check = f"`lamproom check {file}`"
    if present is None:
        return f"{file} has errors at present: {check} tells them, and tries the case once they are mended"
    if judge(present, case):
        return f"{check} fails by this case until the layout file is mended"
    return f"{check} passes: the layout file as it is now shows what it should"
