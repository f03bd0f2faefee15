"""The commands about recorded sessions."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bridge.cli.shared import FAILED, OK, UNREADABLE, Headway, look, out, print_json, say_findings
from bridge.errors import DecodeError

if TYPE_CHECKING:
    from bridge.events import Instant
    from bridge.layout import Layout
    from bridge.record.cases import Case

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
    decisions: Annotated[
        bool, typer.Option("--decisions", help="Compare decisions alone and work out no light: far quicker.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Play the session log LOG again and compare every frame, byte for byte.

    A TIME is 15:30 by the clock on the wall, 2026-11-28 15:30:12, +12:30 since it began, #4711 for an event, or model
    16:45 by the model clock.
    """
    from bridge.record.decisions import replay_decisions  # noqa: PLC0415 - see the head of the package
    from bridge.record.replay import replay as replay_all  # noqa: PLC0415
    from bridge.record.replay import report_lines  # noqa: PLC0415

    path = Path(log)
    text = None if layout is None else _text(layout)
    begin, end = _instants(path, since, until)
    with Headway() as headway:
        play = replay_decisions if decisions else replay_all
        result = play(path, text, since=begin or 0, until=end, progress=headway.at)
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
        kept = cut(path, wrong, note, present=present, progress=headway.at)
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


def _instants(path: Path, *words: str | None) -> tuple[Instant | None, ...]:
    from bridge.record.times import instants, parse_moment  # noqa: PLC0415 - see the head of the package

    return instants(path, *(None if word is None else parse_moment(word) for word in words))


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
