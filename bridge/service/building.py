"""Changes of the wiring, from what the owner says to the new layout file: what is written, and how it is tried out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from bridge.commands import PublishFrame
from bridge.engine import Engine
from bridge.errors import LayoutError
from bridge.layout.edit import Edit, apply, differences
from bridge.layout.edit_wiring import ChipState, built, marked, planned_on
from bridge.layout.findings import errors
from bridge.layout.model import Layout
from bridge.service.files import LayoutFile, look_at_text
from bridge.service.plugins import Adapters
from bridge.service.rewriting import read_bytes, rewrite
from bridge.trial.building import Step, steps


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change of a layout file that nothing was done about yet.

    Attributes:
        before: the bytes of the file when it was read.
        looked: the file as it would be; its layout is sound.
        diff: the lines that would change.
        node: the node whose frames become others.
        board: it may have a board with our program (it is reached by MQTT), and that needs new settings.
        test: what to look at before it is written; none for what is only taken out of use.
    """

    before: bytes
    looked: LayoutFile
    diff: tuple[str, ...]
    node: str
    board: bool
    test: tuple[Step, ...] = ()

    def write(self) -> str:
        """Write it, and return where the file as it was is kept.

        Raises:
            LayoutError: the file has changed since it was read, or cannot be written.
        """
        return str(rewrite(self.looked.name, self.before, self.looked.text))


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
    now = _sound(look_at_text(file, before, adapters))
    new = planned_on(now[1], chain, names)
    looked, layout = _after(now[0], built(now[0].text, now[1], chain, new), adapters)
    test = steps(next(each for each in layout.chains if each.key == chain), new, at_rest(layout)[chain])
    return _proposal(before, now, (looked, layout), chain, test)


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
    now, layout = _sound(look_at_text(file, before, adapters))
    name, number = _chip(chip, layout)
    edits = marked(now.text, layout, name, number, state)
    if not edits:
        return None
    chain = layout.all_chains[layout.fixture(name).chain].key
    return _proposal(before, (now, layout), _after(now, edits, adapters), chain)


def try_out(
    test: Sequence[Step], show: Callable[[bytes], None], ask: Callable[[str], bool]
) -> tuple[Step, ...]:
    """Show every picture of a lamp test and ask about it; return those that were not as they should be.

    Where the first is not, nothing of the rest would tell anything.
    """
    wrong: list[Step] = []
    for number, step in enumerate(test):
        show(step.picture)
        if not ask(step.question):
            wrong.append(step)
            if number == 0:
                break
    return tuple(wrong)


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


def _sound(looked: LayoutFile) -> tuple[LayoutFile, Layout]:
    if looked.layout is None:
        first = errors(looked.findings)[0].line(looked.name)
        raise LayoutError(f"the file has errors, and is left as it is until they are mended: {first}")
    return looked, looked.layout


def _after(now: LayoutFile, edits: Sequence[Edit], adapters: Adapters) -> tuple[LayoutFile, Layout]:
    looked = look_at_text(now.name, apply(now.text, edits).encode(), adapters)
    if looked.layout is None:
        first = errors(looked.findings)[0].line(now.name)
        raise LayoutError(f"the change would make an error, so the file is left as it is: {first}")
    return looked, looked.layout


def _proposal(
    before: bytes,
    now: tuple[LayoutFile, Layout],
    then: tuple[LayoutFile, Layout],
    chain: str,
    test: tuple[Step, ...] = (),
) -> Proposal:
    diff = tuple(differences(now[0].text, then[0].text, now[0].name))
    node, layout = chain.partition("/")[0], then[1]
    by_mqtt = any(each.node == node and layout.output(each.output).kind == "mqtt" for each in layout.chains)
    return Proposal(before, then[0], diff, node, by_mqtt and at_rest(now[1]) != at_rest(layout), test)
