"""The commands for what changes at the layout itself: how it is soldered, what was planned, and what has died."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from bridge.cli.shared import (
    FAILED,
    OK,
    BrokerOption,
    LayoutPath,
    StateOption,
    bench_settings,
    err,
    out,
    time_limit,
)
from bridge.errors import LamproomError

if TYPE_CHECKING:
    from bridge.service.building import Proposal
    from bridge.service.finding import Found

WriteOption = Annotated[
    bool,
    typer.Option("--write", help="Write it without asking. Else you are shown what would change, and asked."),
]
ChainName = Annotated[str, typer.Argument(metavar="NODE/CHAIN", hidden=True)]
SecondsOption = Annotated[
    int | None,
    typer.Option("--for", metavar="SECONDS", help="How long a picture waits for an answer, up to an hour."),
]


def built(  # noqa: PLR0913, PLR0917 - each option is an argument
    file: LayoutPath,
    chain: ChainName,
    fixtures: Annotated[list[str] | None, typer.Argument(metavar="FIXTURE", hidden=True)] = None,
    untested: Annotated[
        bool, typer.Option("--untested", help="Light nothing: you have looked at each lamp yourself.")
    ] = False,
    write: WriteOption = False,
    seconds: SecondsOption = None,
    broker: BrokerOption = None,
    state: StateOption = None,
) -> None:
    """Confirm that planned fixtures of one chain are soldered: all of NODE/CHAIN, or each FIXTURE that you name.

    Each lamp of the new part is lit alone, and you are asked whether it is the right one. A no ends it. After the last
    yes you are shown the lines of FILE that change, and nothing is written before you say so.
    """
    import asyncio  # noqa: PLC0415 - see the head of the package

    from bridge.service.building import propose_built, why_alone  # noqa: PLC0415
    from bridge.service.lending import at_bench  # noqa: PLC0415
    from bridge.service.looking import Seen, look_through  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415
    from bridge.service.showing import USUAL, Showing  # noqa: PLC0415

    limit, adapters = time_limit(seconds) or USUAL, Adapters()
    proposal = propose_built(file, chain, fixtures or (), adapters)
    alone = why_alone(proposal.now.layout, proposal.then.layout, chain, adapters)
    settings = bench_settings(*(proposal.then if alone else proposal.now), broker, state)

    async def try_out() -> bool:
        async with at_bench(settings, adapters, out, alone=alone) as bench:
            if bench is None:
                return False
            seen = await look_through(proposal.test, Showing(bench, chain, limit, out), out)
            if seen is Seen.WRONG:
                out("switch the supply off before you mend it. How it is soldered is found out by")
                out(f"`lamproom wiring {file} {chain} --planned`")
            if seen is not Seen.RIGHT:
                return False
            _show(proposal)
            return write or await bench.agrees("Shall it be written?")

    if not untested:
        write = asyncio.run(try_out())
    else:
        out(
            "no lamp is lit now: look at each of them before you rely on it, and let no train run by it until then"
        )
        _show(proposal)
        if not write and sys.stdin.isatty():
            write = typer.confirm("Is all of this soldered, looked at and in order?")
    _settle(proposal, write=write)


def wiring(  # noqa: PLR0913, PLR0917 - each option is an argument
    file: LayoutPath,
    chain: ChainName,
    without_colours: Annotated[
        bool,
        typer.Option(
            "--without-colours", help="Ask only where something is lit: for eyes that mix up colours."
        ),
    ] = False,
    one_at_a_time: Annotated[
        bool, typer.Option("--one-at-a-time", help="Light one channel at a time: that takes more questions.")
    ] = False,
    planned: Annotated[
        bool, typer.Option("--planned", help="Look at the chain as it will be once what is planned is built.")
    ] = False,
    write: WriteOption = False,
    seconds: SecondsOption = None,
    broker: BrokerOption = None,
    state: StateOption = None,
) -> None:
    """Find out how NODE/CHAIN is soldered: a few channels are lit at a time, and you are asked what you see.

    It says what differs from the layout file FILE and which lines would put that right. Nothing is written before you
    say so, and the remarks and the order of the file stay.
    """
    import asyncio  # noqa: PLC0415 - see the head of the package

    from bridge.service.building import why_alone  # noqa: PLC0415
    from bridge.service.finding import find_wiring, look_for  # noqa: PLC0415
    from bridge.service.lending import at_bench  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415
    from bridge.service.showing import USUAL, Showing  # noqa: PLC0415
    from bridge.trial.find import AT_ONCE  # noqa: PLC0415

    limit, adapters = time_limit(seconds) or USUAL, Adapters()
    looked = look_for(file, chain, adapters, planned=planned)
    alone = why_alone(looked.now, looked.then, chain, adapters)
    settings = bench_settings(looked.file, looked.then if alone else looked.now, broker, state)

    async def find() -> tuple[Found | None, bool]:
        async with at_bench(settings, adapters, out, alone=alone) as bench:
            if bench is None:
                return None, False
            found = await find_wiring(
                looked,
                Showing(bench, chain, limit, out),
                adapters,
                out,
                coloured=not without_colours,
                at_once=1 if one_at_a_time else AT_ONCE,
            )
            if found is None or found.proposal is None:
                return found, False
            _show(found.proposal)
            _remark(found)
            return found, (write and found.sure) or await bench.agrees("Shall it be written?")

    found, wanted = asyncio.run(find())
    if found is None:
        out("ended before it was found out; nothing was written")
        raise typer.Exit(FAILED)
    if found.proposal is None:
        _remark(found)
        raise typer.Exit(OK if found.same else FAILED)
    _settle(found.proposal, write=wanted)


def chip(
    file: LayoutPath,
    which: Annotated[str, typer.Argument(metavar="FIXTURE:NUMBER", hidden=True)],
    state: Annotated[str, typer.Argument(metavar="STATE", hidden=True)],
    write: WriteOption = False,
) -> None:
    """Say how a chip is: FIXTURE and, where it has several, its NUMBER; STATE is one of these.

    \b
    broken      it has died: nothing behind it gets what it should
    bypassed    it was cut out of the data line: what is behind it moves up
    whole       it was mended or replaced
    """  # noqa: D301 - the mark keeps the lines apart, and is meant to be one character
    from bridge.layout.edit_wiring import ChipState  # noqa: PLC0415 - see the head of the package
    from bridge.layout.findings import choice, said  # noqa: PLC0415
    from bridge.service.building import propose_chip  # noqa: PLC0415
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    if state not in [*ChipState]:
        raise LamproomError(f"no chip is {said(state)}; {choice(state, ChipState)}")
    proposal = propose_chip(file, which, ChipState(state), Adapters())
    if proposal is None:
        out(f"{file} says already that {which} is {state}: nothing to change")
        raise typer.Exit(OK)
    _show(proposal)
    if not write and sys.stdin.isatty():
        write = typer.confirm("Is it so?")
    _settle(proposal, write=write)


def _show(proposal: Proposal) -> None:
    for line in proposal.diff:
        out(line)
    for line in proposal.then.file.lines():
        err(line)


def _remark(found: Found) -> None:
    for line in found.remarks:
        out(f"- {line}")


def _settle(proposal: Proposal, *, write: bool) -> None:
    """Write it if that is wanted, and say what is left to do."""
    file = proposal.then.file.name
    if not write:
        out(f"nothing was written; {file} is as it was")
        raise typer.Exit(FAILED)
    aside = proposal.write()
    out(f"{file} is written; as it was it is kept as {aside}")
    out("a bridge that runs with it goes on as before: restart it to take up the change")
    if proposal.board:
        out(
            "a board with our program needs to know how long its frames are now, and what to show in silence:"
        )
        out(f"`lamproom node {file} {proposal.node} --to DIRECTORY`, and copy it to the board")
