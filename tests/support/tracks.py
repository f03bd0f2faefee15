"""Invented layouts of block signals, and short ways to say what happens on their track."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from bridge.commands import Command
from bridge.engine import Engine
from bridge.events import (
    AccessoryProved,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    Event,
    LinkState,
    NodeReported,
    Position,
    PowerReported,
    PowerState,
    Subject,
    UseReported,
)
from tests.support.driving import layout

OCCUPIED: Final = BlockState.OCCUPIED
CLEAR: Final = BlockState.CLEAR
UNKNOWN: Final = BlockState.UNKNOWN

MAST: Final = """\
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
"""


def written(signals: Mapping[str, str], more: str = "", nodes: Mapping[str, str] | None = None) -> str:
    """Return a layout file with signals on masts of their own.

    Args:
        signals: what stands in the braces of each signal.
        more: other sections.
        nodes: the node of each signal that does not hang on `bench`.
    """
    chains: dict[str, list[str]] = {}
    for name in signals:
        chains.setdefault((nodes or {}).get(name, "bench"), []).append(f"{{name: {name}, build: mast}}")
    wires = "".join(
        f"  {node}: {{chains: [{{name: one, fixtures: [{', '.join(masts)}]}}]}}\n"
        for node, masts in chains.items()
    )
    entries = "".join(f"  {name}: {{{entry}}}\n" for name, entry in signals.items())
    return f"layout: Tarnside\n{MAST}nodes:\n{wires}{more}signals:\n{entries}"


def driven(text: str) -> Engine:
    """Return an engine that has been started with a layout file."""
    engine = Engine(layout(text))
    engine.start()
    return engine


def block(name: str, state: BlockState, at: int = 0, source: str = "bus") -> BlockReported:
    """Return what a detector reports."""
    return BlockReported(at=at, source=source, name=name, state=state)


def kept_block(name: str, state: BlockState, at: int = 0, source: str = "bus") -> BlockReported:
    """Return a kept copy of what a detector reported."""
    return BlockReported(at=at, source=source, name=name, state=state, authority=Authority.STATE)


def proved(number: int, position: Position, at: int = 0, source: str = "bus") -> AccessoryProved:
    """Return the feedback of a turnout."""
    return AccessoryProved(at=at, source=source, number=number, position=position)


def number_ordered(number: int, aspect: int, at: int = 0, source: str = "panel") -> AspectOrdered:
    """Return the order to an extended accessory to show an aspect by its number."""
    return AspectOrdered(at=at, source=source, number=number, aspect=aspect)


def power(district: str, state: PowerState, at: int = 0, source: str = "bus") -> PowerReported:
    """Return what is said of track power."""
    return PowerReported(at=at, source=source, district=district, state=state)


def node(name: str, state: LinkState, at: int = 0, why: str = "") -> NodeReported:
    """Return the news that a node answers, or no longer."""
    return NodeReported(at=at, source="nodes", node=name, state=state, why=why)


def use(subject: Subject, name: str, at: int = 0, *, out: bool = True, why: str = "") -> UseReported:
    """Return the news that something was taken out of use, or put back."""
    return UseReported(at=at, source="panel", subject=subject, name=name, out=out, why=why)


def tell(engine: Engine, *events: Event) -> list[Command]:
    """Let an engine handle events; return all that follows."""
    return [command for event in events for command in engine.handle(event)]


def run_to(engine: Engine, at: int) -> list[Command]:
    """Let time pass, with every wake at its instant; return all that follows."""
    found: list[Command] = []
    while (wake := engine.next_wake()) is not None and wake <= at:
        found += engine.advance(wake)
    return [*found, *engine.advance(at)]


def shown(engine: Engine, *signals: str) -> list[str]:
    """Return what signals show."""
    choices = engine.choices()
    return [choices[signal].aspect for signal in signals]


def why(engine: Engine, signal: str) -> str:
    """Return the reason for what a signal shows."""
    return engine.choices()[signal].reason


def all_clear(blocks: Iterable[str], at: int = 0) -> list[BlockReported]:
    """Return the report that every one of some blocks is clear."""
    return [block(name, CLEAR, at) for name in blocks]
