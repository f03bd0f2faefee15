"""The wiring finder from a terminal: its questions over a bridge's lamp test, and its answers into a proposal."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass

from bridge.errors import LayoutError
from bridge.layout import Layout
from bridge.service.building import Proposal, Sound, chain_of, propose_text, sound
from bridge.service.files import LayoutFile, look_at_text
from bridge.service.plugins import Adapters
from bridge.service.rewriting import read_bytes
from bridge.service.showing import Showing
from bridge.trial.find import Finder
from bridge.trial.find_dialogue import ASKS, Dialogue
from bridge.trial.find_rewrite import not_for_one_chain, rewritten


@dataclass(frozen=True, slots=True)
class Looked:
    """A layout file, one chain of which is to be looked at.

    Attributes:
        before: the bytes of the file.
        file: the file.
        now: what it describes.
        then: what the chain is looked at by: the same, or what will be once all that is planned is built.
        key: the chain, `node/chain`.
    """

    before: bytes
    file: LayoutFile
    now: Layout
    then: Layout
    key: str


@dataclass(frozen=True, slots=True)
class Found:
    """What came out.

    Attributes:
        same: the chain is as the file has it, as far as it could be found out, and that is all of it.
        sure: nobody ended it before the last question.
        proposal: what to write; None where there is nothing.
        remarks: what is to be said of it besides, a sentence each.
    """

    same: bool
    sure: bool
    proposal: Proposal | None
    remarks: tuple[str, ...]


def look_for(file: str, key: str, adapters: Adapters, *, planned: bool) -> Looked:
    """Read a layout file for the finder.

    Args:
        file: its name.
        key: `node/chain`.
        adapters: those that are installed.
        planned: count what is planned as built.

    Raises:
        LayoutError: the file has errors, or no such chain.
    """
    before = read_bytes(file)
    now = sound(look_at_text(file, before, adapters))
    then = now.layout
    if planned:
        if now.file.planned is None:
            raise LayoutError("nothing is planned that could be built as it stands: leave out --planned")
        then = now.file.planned
    elif key in {chain.key for chain in now.layout.unbuilt}:
        raise LayoutError(
            f"nothing on {key} counts as built yet: with --planned it is looked at as it will be"
        )
    chain_of(then, key)
    return Looked(before, now.file, now.layout, then, key)


async def find_wiring(
    looked: Looked,
    showing: Showing,
    adapters: Adapters,
    say: Callable[[str], None],
    *,
    coloured: bool,
    at_once: int,
) -> Found | None:
    """Ask until it is known how a chain is wired, and say it; None where whoever sits there leaves.

    Raises:
        LamproomError: the bridge refuses a picture.
        LinkError: the bridge or the broker is gone, or does not answer.
    """
    chain, text = chain_of(looked.then, looked.key), looked.file.text
    elsewhere = not_for_one_chain(text, looked.then, chain)
    # What the finder works out may take a tenth of a second, and a bridge of our own drives lights on this loop.
    finder = await asyncio.to_thread(Finder, chain, coloured=coloured, at_once=at_once, elsewhere=elsewhere)
    dialogue = Dialogue(finder)
    asks = ""
    while (picture := dialogue.picture) is not None:
        line = await showing.ask(picture, asks or await asyncio.to_thread(_prompt, dialogue))
        if line is None:
            await showing.end()
            return None
        answered = await asyncio.to_thread(dialogue.say, line)
        asks = f"{answered}\n{ASKS}" if answered else ""
    await showing.end()
    say(await asyncio.to_thread(_prompt, dialogue))
    outcome = await asyncio.to_thread(finder.outcome)
    new = await asyncio.to_thread(rewritten, outcome, text, looked.then)
    proposal = None
    if new.text != text:
        now = Sound(looked.file, looked.now)
        proposal = await asyncio.to_thread(propose_text, looked.before, now, new.text, looked.key, adapters)
    same = not outcome.open and not any(each.findings for each in outcome.explanations)
    return Found(
        same, not dialogue.stopped, proposal, (*new.marks, *(f"by hand: {each}" for each in new.by_hand))
    )


def _prompt(dialogue: Dialogue) -> str:
    return dialogue.prompt
