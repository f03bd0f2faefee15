"""The diagrams of the owner's pages, made from what runs: `python -m tests.support.diagrams` writes them anew.

Each is a state diagram in the notation of Mermaid, between a line that names it and the end of its block.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final, TypeAlias

from adapters.outputs.window import PHASES
from bridge.events import BlockState
from bridge.layout import model
from bridge.layout.findings import Mark
from bridge.logic.blocks import Block
from bridge.logic.crossing import STEPS
from bridge.logic.gate import GATE
from bridge.logic.selection import LAST_COMMAND, PRESSED, SWITCHED, Step, Table, Trust
from bridge.trial import table as trial
from tests.support.tree import ROOT

Edge: TypeAlias = tuple[str, str, str]
"""From a state, by what happens, to a state."""


def diagram(edges: Iterable[Edge], start: str) -> str:
    """Return a state diagram; several ways between the same two states share one arrow."""
    arrows: dict[tuple[str, str], list[str]] = {}
    for before, label, after in edges:
        arrows.setdefault((before, after), []).append(label)
    names = dict.fromkeys(name for pair in arrows for name in pair)
    short = {name: f"s{place}" for place, name in enumerate(names)}
    lines = [
        "stateDiagram-v2",
        *(f'  state "{name}" as {short[name]}' for name in names),
        f"  [*] --> {short[start]}",
    ]
    lines += [
        f"  {short[one]} --> {short[other]}: {', '.join(said)}" for (one, other), said in arrows.items()
    ]
    return "\n".join(lines)


def _obeying(table: Table) -> str:
    after = {Step.OBEY: Trust.TRUSTED, Step.REST: Trust.UNKNOWN}
    words = {Trust.UNKNOWN: "knows nothing", Trust.TRUSTED: "shows what it was told"}
    edges = [
        (words[trust], news.value, words[after[step]])
        for (trust, news), step in table.items()
        if step is not Step.KEEP
    ]
    return diagram(edges, words[Trust.UNKNOWN])


def _gate() -> str:
    edges = [(state, happens.value, after) for state, rows in GATE.items() for happens, after in rows.items()]
    return diagram(edges, next(iter(GATE)))


def _crossing() -> str:
    return diagram([(phase, happens.value, after) for (phase, happens), after in STEPS.items()], "idle")


def _chain() -> str:
    edges = [
        (phase.value, step.value, after.value)
        for phase, rows in PHASES.items()
        for step, after in rows.items()
        if after is not phase
    ]
    return diagram(edges, next(iter(PHASES)).value)


_TRIED: Final = {
    trial.Step.ASK: (trial.Standing.WAITING,),
    trial.Step.RUN: (trial.Standing.RUNNING,),
    trial.Step.GO_ON: (trial.Standing.WAITING, trial.Standing.OFF),
    trial.Step.END: (trial.Standing.OFF,),
}


def _lamp_test() -> str:
    edges = [
        (before.value, heard.value, after.value)
        for (before, heard), step in trial.LAMP_TEST.items()
        for after in _TRIED.get(step, ())
        if after is not before
    ]
    return diagram(edges, trial.Standing.OFF.value)


_DOES: Final = ("reported occupied", "reported clear", "reported unknown", "its time is over")


def _block() -> str:
    """Drive a real block through everything that may happen to it, from every state that it can get into."""
    edges: list[Edge] = []
    seen: dict[str, tuple[str, ...]] = {_name(_driven(())): ()}
    todo = list(seen)
    for name in todo:
        for does in _DOES:
            after = _name(_driven((*seen[name], does)))
            if after != name:
                edges.append((name, does, after))
            if after not in seen:
                seen[after] = (*seen[name], does)
                todo.append(after)
    return diagram(edges, todo[0])


def _driven(happened: tuple[str, ...]) -> Block:
    block = Block(model.Block("b", "", 50, 1500, Mark(1, 1)))
    at = 0
    for does in happened:
        at += 1
        match does:
            case "its time is over":
                at = max(at, block.due or 0)
                block.expire()
            case _:
                block.report(BlockState(does.removeprefix("reported ")), "detector", at, 1)
    return block


def _name(block: Block) -> str:
    """Call a block by what counts and what waits."""
    state, _why, _event, _due, waits, *_rest = block.state()
    waiting = f", {BlockState(waits).value} waits" if waits is not None else ""
    return f"{BlockState(state).value}{waiting}"


DIAGRAMS: Final[dict[str, dict[str, str]]] = {
    "config/guide/signals.md": {
        "last command": _obeying(LAST_COMMAND),
        "one accessory": _obeying(SWITCHED),
        "buttons": _obeying(PRESSED),
        "a block": _block(),
    },
    "config/guide/interlocking.md": {"a route": _gate()},
    "config/guide/crossings.md": {"a crossing": _crossing()},
    "config/guide/lamp-test.md": {"a lamp test": _lamp_test()},
    "config/guide/mqtt.md": {"a chain": _chain()},
}
"""For each page its diagrams by their names."""

_PLACE: Final = re.compile(r"<!-- made from what runs: ([^>]+) -->\n```mermaid\n(.*?)\n```", re.DOTALL)


def shown(page: str) -> dict[str, str]:
    """Return the diagrams that stand in a page, by their names."""
    return dict(_PLACE.findall((ROOT / page).read_text(encoding="utf-8")))


def write() -> None:
    """Write every diagram into its page."""
    for page, made in DIAGRAMS.items():
        path = ROOT / page
        text = path.read_text(encoding="utf-8")
        fresh = _PLACE.sub(
            lambda found, made=made: (
                f"<!-- made from what runs: {found[1]} -->\n```mermaid\n{made[found[1]]}\n```"
            ),  # type: ignore[misc]
            text,
        )
        path.write_text(fresh, encoding="utf-8")


if __name__ == "__main__":
    write()
