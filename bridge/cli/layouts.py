"""The commands about a layout file: what is wrong with it, and what the boards of its nodes need."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bridge.cli.shared import (
    FAILED,
    OK,
    LayoutPath,
    OptionalLayoutPath,
    StateOption,
    err,
    look,
    out,
    print_json,
    say_findings,
)
from bridge.errors import LamproomError

if TYPE_CHECKING:
    from bridge.layout import Layout
    from bridge.service.cases import Tried
    from bridge.service.files import LayoutFile


def check(
    file: OptionalLayoutPath = None,
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
    attempt: Annotated[
        tuple[str, str] | None,
        typer.Option(
            "--try",
            metavar="TOPIC PAYLOAD",
            help="Say what a message would become, and what would follow; or, without FILE, what is said of a bus:"
            " dcc '81 F9 78'.",
        ),
    ] = None,
) -> None:
    """Look for mistakes in the layout file FILE, and try the cases that were kept beside it by `lamproom keep`.

    Each is told in one line, with its place in the file: FILE:LINE:COLUMN: error or warning: what to do. A layout with
    errors cannot run; one with warnings can. So it can with a case that fails.
    """
    if file is None:
        if attempt is None:
            raise LamproomError("name the layout file, FILE, or something to try: `--try dcc '81 F9 78'`")
        raise typer.Exit(OK if _try(None, *attempt, out) else FAILED)
    from bridge.service.cases import try_cases  # noqa: PLC0415 - see the head of the package

    looked = look(file)
    tried = None if looked.layout is None else try_cases(file, looked.layout)
    told = [(file, finding) for finding in looked.findings] + list(() if tried is None else tried.failed)
    if as_json:
        print_json([finding.to_data(name) for name, finding in told])
    else:
        for name, finding in told:
            out(finding.line(name))
        if looked.layout is not None:
            out(f"{file}: {_summary(looked)}")
    say = err if as_json else out
    for line in _cases(file, tried):
        say(line)
    sound = tried is not None and not tried.failed
    if looked.layout is not None and attempt is not None:
        sound = _try(looked.layout, *attempt, say) and sound
    if looked.layout is not None and prove:
        sound = _prove(looked, looked.layout, state, minutes, say) and sound
    raise typer.Exit(OK if sound else FAILED)


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
    from bridge.service.address import Address  # noqa: PLC0415 - see the head of the package
    from bridge.service.node_settings import (  # noqa: PLC0415
        Wishes,
        as_text,
        node_settings,
        pins_of,
        poorly_timed,
        write_board,
    )

    looked = look(file)
    say_findings(looked)
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
        out(f"{to}: {', '.join(write_board(to, looked.layout, name, wishes))}")
    for line in poorly_timed(looked.layout, name):
        err(line)


def _cases(file: str, tried: Tried | None) -> list[str]:
    """Return how many kept cases there are, and what became of them: a line, or none where there are none."""
    from bridge.layout.findings import count  # noqa: PLC0415 - see the head of the package
    from bridge.service.cases import case_files  # noqa: PLC0415

    if tried is None:
        untried = len(case_files(file))
        why = "not tried, since the layout file has errors"
        return [f"{file}: {count(untried, 'kept case')} {why}"] if untried else []
    failed = len({name for name, _finding in tried.failed})
    cases = count(tried.passed + failed, "kept case")
    return [f"{file}: {cases}, {tried.passed} passed and {failed} failed"] if tried.passed or failed else []


def _try(layout: Layout | None, channel: str, payload: str, say: Callable[[str], None]) -> bool:
    from bridge.service.plugins import Adapters  # noqa: PLC0415 - see the head of the package
    from bridge.service.trying import try_alone, try_message  # noqa: PLC0415

    said = (Adapters(), channel, payload)
    tried = try_alone(*said) if layout is None else try_message(layout, *said)
    for line in tried.lines:
        say(line)
    return tried.understood


def _prove(
    looked: LayoutFile, layout: Layout, state: Path | None, minutes: float, say: Callable[[str], None]
) -> bool:
    try:
        from bridge.service.proving import prove_file  # noqa: PLC0415 - see the head of the package
    except ModuleNotFoundError as missing:
        if (missing.name or "").split(".")[0] != "oxidd":
            raise
        raise LamproomError(
            "--prove needs the library oxidd, which is an extra: install it by `pip install 'lamproom[proof]'`"
        ) from None
    from bridge.service.state import default_state_directory  # noqa: PLC0415

    directory = (state or default_state_directory()) / "proofs"
    return prove_file(looked, layout, directory, minutes, say)


def _summary(looked: LayoutFile) -> str:
    from bridge.layout.findings import count  # noqa: PLC0415 - see the head of the package

    layout = looked.layout
    if layout is None:
        return ""
    posts = sum(len(crossing.posts) for crossing in layout.crossings)
    return (
        f"no errors; {count(len(layout.signals) - posts, 'signal')} and {count(len(layout.lights), 'light')}, "
        f"{_wiring(layout)}"
        + (
            f", {count(posts, 'post')} of {count(len(layout.crossings), 'crossing')}"
            if layout.crossings
            else ""
        )
        + _plans(looked, layout)
    )


def _wiring(layout: Layout) -> str:
    from bridge.layout.findings import count  # noqa: PLC0415 - see the head of the package

    chips = sum(len(chain.chips) for chain in layout.chains)
    return f"{count(chips, 'chip')} on {count(len(layout.chains), 'chain')}"


def _plans(looked: LayoutFile, layout: Layout) -> str:
    """Return what will be there once all that is planned is built, and what is out of use until then."""
    from bridge.check.wiring import has_plans  # noqa: PLC0415 - see the head of the package

    if not has_plans(layout):
        return ""
    then = "errors, which the warnings tell" if looked.planned is None else _wiring(looked.planned)
    fixtures = layout.fixtures()
    out = [signal.name for signal in layout.signals if signal.lost and fixtures[signal.fixture].planned]
    out += [
        light.name
        for light in layout.lights
        if light.lost and any(fixtures[place.fixture].planned for place in light.lamps)
    ]
    waiting = f"; out of use until then: {', '.join(out)}" if out else ""
    return f"; once what is planned is built: {then}{waiting}"
