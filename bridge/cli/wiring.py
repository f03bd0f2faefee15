"""The commands for what changes at the layout itself: planned wiring that was soldered, and chips that have died."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from bridge.cli.shared import FAILED, OK, LayoutPath, err, out
from bridge.errors import LamproomError

if TYPE_CHECKING:
    from bridge.service.building import Proposal

WriteOption = Annotated[
    bool, typer.Option("--write", help="Write it, without asking. Else you are shown what would change.")
]


def built(
    file: LayoutPath,
    chain: Annotated[str, typer.Argument(metavar="NODE/CHAIN", hidden=True)],
    fixtures: Annotated[list[str] | None, typer.Argument(metavar="FIXTURE", hidden=True)] = None,
    write: WriteOption = False,
) -> None:
    """Confirm that planned fixtures of one chain are soldered: all of NODE/CHAIN, or each FIXTURE that you name.

    You are shown the lines of FILE that change and what to look at, and nothing is written before you say so.
    """
    from bridge.service.building import propose_built  # noqa: PLC0415 - see the head of the package
    from bridge.service.plugins import Adapters  # noqa: PLC0415

    proposal = propose_built(file, chain, fixtures or (), Adapters())
    _show(proposal)
    out("look at each lamp before you confirm it:")
    for number, step in enumerate(proposal.test, start=1):
        place = f"position {step.position}: " if step.position else ""
        out(f"  {number}. {place}{step.question}")
    _settle(proposal, "Is all of this soldered, looked at and in order?", write=write)


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
    _settle(proposal, "Is it so?", write=write)


def _show(proposal: Proposal) -> None:
    for line in proposal.diff:
        out(line)
    for line in proposal.looked.lines():
        err(line)


def _settle(proposal: Proposal, question: str, *, write: bool) -> None:
    """Write it if that is wanted; ask only somebody who sits there."""
    file = proposal.looked.name
    if not write and sys.stdin.isatty():
        write = typer.confirm(question)
    if not write:
        out(f"nothing was written; with --write {file} is changed so")
        raise typer.Exit(FAILED)
    aside = proposal.write()
    out(f"{file} is written; as it was it is kept as {aside}")
    out("a bridge that runs with it goes on as before: restart it to take up the change")
    if proposal.board:
        out(
            "a board with our program needs to know how long its frames are now, and what to show in silence:"
        )
        out(f"`lamproom node {file} {proposal.node} --to DIRECTORY`, and copy it to the board")
