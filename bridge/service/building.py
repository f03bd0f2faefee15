"""Changes of the wiring, from what the owner says to the new layout file: what is written, what to look at before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bridge.commands import PublishFrame
from bridge.engine import Engine
from bridge.errors import LayoutError
from bridge.layout.edit import apply, differences
from bridge.layout.edit_wiring import ChipState, built, marked, planned_on
from bridge.layout.findings import choice, errors, said
from bridge.layout.model import Chain, Layout
from bridge.service.files import LayoutFile, look_at_text
from bridge.service.plugins import Adapters
from bridge.service.rewriting import read_bytes, rewrite
from bridge.trial.building import Step, steps


class Sound(NamedTuple):
    """A layout file without errors, and what it describes."""

    file: LayoutFile
    layout: Layout


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change of a layout file that nothing was done about yet.

    Attributes:
        before: the bytes of the file when it was read.
        now: the file as it is.
        then: the file as it would be.
        diff: the lines that would change.
        node: the node whose frames become others.
        board: it may have a board with our program (it is reached by MQTT), and that needs new settings.
        test: what to look at before it is written; none for what was looked at before, or is only taken out of use.
    """

    before: bytes
    now: Sound
    then: Sound
    diff: tuple[str, ...]
    node: str
    board: bool
    test: tuple[Step, ...] = ()

    def write(self) -> str:
        """Write it, and return where the file as it was is kept.

        Raises:
            LayoutError: the file has changed since it was read, or cannot be written.
        """
        return str(rewrite(self.then.file.name, self.before, self.then.file.text))


def propose_built(file: str, chain: str, names: Sequence[str], adapters: Adapters) -> Proposal:
    """Return how a layout file would say that planned fixtures of a chain are built.

    Args:
        file: its name.
        chain: `node/chain`.
        names: the fixtures; none for all that are planned on it.
        adapters: those that are installed.

    Raises:
        LayoutError: it does not fit the file, or the layout would have errors that it has not had.
    """
    before = read_bytes(file)
    now = sound(look_at_text(file, before, adapters))
    new = planned_on(now.layout, chain, names)
    then = _after(now, apply(now.file.text, built(now.file.text, now.layout, chain, new)), adapters)
    return _proposal(before, now, then, chain, new)


def propose_chip(file: str, chip: str, state: ChipState, adapters: Adapters) -> Proposal | None:
    """Return how a layout file would say that a chip is broken, bypassed or whole; None if it says so already.

    Args:
        file: its name.
        chip: the name of its fixture, and its number behind a colon where there are several.
        state: how it is.
        adapters: those that are installed.

    Raises:
        LayoutError: it does not fit the file, or the layout would have errors that it has not had.
    """
    before = read_bytes(file)
    now = sound(look_at_text(file, before, adapters))
    name, number = _chip(chip, now.layout)
    edits = marked(now.file.text, now.layout, name, number, state)
    if not edits:
        return None
    chain = now.layout.all_chains[now.layout.fixture(name).chain].key
    return _proposal(before, now, _after(now, apply(now.file.text, edits), adapters), chain)


def propose_text(before: bytes, now: Sound, text: str, chain: str, adapters: Adapters) -> Proposal:
    """Return how a layout file would say what `text` says, about one chain.

    Args:
        before: the bytes that the file held when it was read.
        now: what they say.
        text: what it shall hold.
        chain: `node/chain`.
        adapters: those that are installed.

    Raises:
        LayoutError: the layout would have errors that it has not had.
    """
    return _proposal(before, now, _after(now, text, adapters), chain)


def chain_of(layout: Layout, key: str) -> Chain:
    """Return a chain that has a frame.

    Args:
        layout: the layout.
        key: `node/chain`.

    Raises:
        LayoutError: there is none; what there is is told.
    """
    chains = {chain.key: chain for chain in layout.chains}
    if key not in chains:
        raise LayoutError(f"no chain is called {said(key)}; {choice(key, chains)}")
    return chains[key]


def why_alone(now: Layout, then: Layout, key: str, adapters: Adapters) -> str:
    """Return why a bridge that drives a layout as it is cannot light a chain as it will be; empty if it can.

    Args:
        now: what that bridge has read.
        then: what it will read once the wiring is written down.
        key: `node/chain`.
        adapters: those that are installed.
    """
    chain = chain_of(then, key)
    there = {each.key: each for each in now.chains}
    if key not in there:
        return f"has no frame for {key}, of which nothing counts as built yet"
    output = adapters.output(then.output(chain.output).kind)
    if there[key].length != chain.length and not getattr(output, "any_length", False):
        return f"sends {key} frames for what counts as built, so on the output {chain.output} the rest would stay dark"
    return ""


def at_rest(layout: Layout) -> dict[str, bytes]:
    """Return what every chain shows while each signal is at its most restrictive aspect and each light is dark."""
    last = [command for command in Engine(layout).closing(0) if isinstance(command, PublishFrame)]
    return {layout.chains[command.chain].key: command.levels for command in last}


def _chip(chip: str, layout: Layout) -> tuple[str, int | None]:
    name, colon, number = chip.rpartition(":")
    if chip in layout.fixtures() or not colon:
        return chip, None
    if not number.isascii() or not number.isdigit():
        raise LayoutError(f"{chip}: the number of a chip stands behind the colon, such as {name}:1")
    return name, int(number)


def sound(looked: LayoutFile) -> Sound:
    """Return a file that was looked at, if it has no errors.

    Raises:
        LayoutError: it has some; the first is told.
    """
    if looked.layout is None:
        first = errors(looked.findings)[0].line(looked.name)
        raise LayoutError(f"the file has errors, and is left as it is until they are mended: {first}")
    return Sound(looked, looked.layout)


def _after(now: Sound, text: str, adapters: Adapters) -> Sound:
    looked = look_at_text(now.file.name, text.encode(), adapters)
    if looked.layout is None:
        first = errors(looked.findings)[0].line(looked.name)
        raise LayoutError(f"the change would make an error, so the file is left as it is: {first}")
    return Sound(looked, looked.layout)


def _proposal(before: bytes, now: Sound, then: Sound, chain: str, new: Sequence[str] = ()) -> Proposal:
    diff = tuple(differences(now.file.text, then.file.text, now.file.name))
    node, layout = chain.partition("/")[0], then.layout
    by_mqtt = any(each.node == node and layout.output(each.output).kind == "mqtt" for each in layout.chains)
    rest = at_rest(layout)
    board = by_mqtt and at_rest(now.layout) != rest
    test = steps(chain_of(layout, chain), new, rest[chain]) if new else ()
    return Proposal(before, now, then, diff, node, board, test)
