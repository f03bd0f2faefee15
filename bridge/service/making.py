"""Making the adapters that a layout names. One that cannot be made has a stand-in, and touches no other."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, TypeAlias

from adapters.contract import ChainPlace, EventSource, FrameOutput, Options, Raw
from bridge.events import Event, Instant, LinkState
from bridge.layout.model import Layout
from bridge.service.hosts import OutputHost, SourceHost
from bridge.service.places import place_of
from bridge.service.plugins import Adapters

Lane: TypeAlias = tuple[FrameOutput, int, int]
"""Where the frames of a chain go: the output, the chain's index there, and the output's number."""


class NoSource:
    """Stands for a source that could not be made: it fails as that did, each time that it is tried."""

    options: ClassVar[type[Options]] = Options

    def __init__(self, problem: Exception) -> None:
        self._problem = problem

    async def listen(self) -> None:
        """Raise why there is none."""
        raise self._problem

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return nothing: nobody is there to hand anything in."""
        del raw, at
        return ()


class NoOutput:
    """Stands for an output that could not be made: its chains are sent nothing, and its nodes are lost."""

    options: ClassVar[type[Options]] = Options

    def __init__(self, why: str, host: OutputHost) -> None:
        self._why = why
        self._host = host

    async def start(self) -> None:
        """Say why there is none."""
        self._host.link(LinkState.LOST, self._why)

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        """Send nothing."""

    def wake(self, now: Instant) -> Instant | None:
        """Have nothing to do."""
        del now
        return None

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Send nothing."""


def make_source(kind: type[EventSource], name: str, options: Options, host: SourceHost) -> EventSource:
    """Return a source that hands its inputs to `host`, or what stands for one that cannot be made."""
    made: EventSource
    try:
        made = kind(name, options, host)
    except Exception as problem:  # noqa: BLE001 - a fault of one adapter must not touch the others
        made = NoSource(problem)
    host.decode = made.decode
    return made


def make_output(
    kind: type[FrameOutput], name: str, options: Options, places: tuple[ChainPlace, ...], host: OutputHost
) -> FrameOutput:
    """Return an output, or what stands for one that cannot be made."""
    try:
        return kind(name, options, places, host)
    except Exception as problem:  # noqa: BLE001 - a fault of one adapter must not touch the others
        return NoOutput(f"it failed to begin, {type(problem).__name__}: {problem}", host)


def make_outputs(
    layout: Layout, adapters: Adapters, host: Callable[[int], OutputHost]
) -> tuple[dict[str, FrameOutput], list[Lane]]:
    """Return the outputs that chains go to, by their names, and for each chain where its frames go.

    Args:
        layout: says which chains there are.
        adapters: has the kinds.
        host: returns the host of an output, by its number.
    """
    by_output: dict[str, list[int]] = {}
    for index, chain in enumerate(layout.chains):
        by_output.setdefault(chain.output, []).append(index)
    outputs: dict[str, FrameOutput] = {}
    lanes: dict[int, Lane] = {}
    for number, (name, indexes) in enumerate(by_output.items()):
        said = layout.output(name)
        if said.fault:
            outputs[name] = NoOutput(f"nothing is sent until its entry is mended: {said.fault}", host(number))
        else:
            kind = adapters.output(said.kind)
            places = tuple(place_of(layout.chains[index]) for index in indexes)
            options = adapters.options(kind, said.options)
            outputs[name] = make_output(kind, name, options, places, host(number))
        lanes.update({index: (outputs[name], lane, number) for lane, index in enumerate(indexes)})
    return outputs, [lanes[index] for index in range(len(layout.chains))]
