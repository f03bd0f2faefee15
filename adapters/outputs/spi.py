"""Frames on the board's own pins: a chain on the data pin of an SPI bus, written by a thread of its own."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from typing import Annotated, ClassVar, Final, cast

from pydantic import Field, field_validator

from adapters.contract import ChainPlace, Claim, Fault, Options, OutputHost
from adapters.cut import cut
from adapters.keys import Refresh, look_at_chains
from adapters.outputs.figures import Figures
from adapters.outputs.pace import NEVER, Pace
from adapters.outputs.spi_port import open_port
from adapters.outputs.spi_waves import SHEETS, Encoder, choose
from adapters.outputs.writer import PortError, Writer
from bridge.events import SECOND, Instant, LinkState

TRY_AGAIN: Final = 10 * SECOND
REFRESH: Final = 60

_DEVICE: Final = re.compile(r"/dev/spidev([0-9]{1,3})\.[0-9]{1,3}")
_EXAMPLE: Final = "{device: /dev/spidev0.0}"


class SpiChain(Options):
    """The keys of one chain.

    Attributes:
        device: the bus whose data pin the chain hangs on.
    """

    device: Annotated[str, Field(strict=True)]

    @field_validator("device")
    @classmethod
    def _device(cls, device: str) -> str:
        if not _DEVICE.fullmatch(device):
            raise ValueError(f"{cut(device, 40)} is no SPI device: write one such as /dev/spidev0.0")
        return device

    @property
    def bus(self) -> int:
        """The number of the bus."""
        found = _DEVICE.fullmatch(self.device)
        return int(found[1]) if found else 0


class SpiOptions(Options):
    """The keys of an SPI output.

    Attributes:
        refresh: frames a second at the most.
        chains: for each chain, by `node/chain`, its bus.
    """

    refresh: Refresh = REFRESH
    chains: dict[str, SpiChain] = Field(default_factory=dict)

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:
        """Find chains without a bus, and chips whose data sheets no row of bits keeps to."""
        found = list(look_at_chains(self.chains, places, _EXAMPLE))
        for place in places:
            kinds = [run.kind for run in place.chips]
            unknown = [kind for kind in kinds if kind not in SHEETS]
            if unknown:
                text = f"nobody knows how {unknown[0]} is driven by SPI: use another output for {place.key}"
                found.append(Fault(("chains", place.key), text))
                continue
            missed = choose(kinds).misses
            if missed:
                text = (
                    f"no row of bits fits all chips of {place.key}, and it may show other pictures than it should: "
                    f"{'; '.join(map(str, missed))}. Put each kind on a chain of its own"
                )
                found.append(Fault(("chains", place.key), text, warning=True))
        return tuple(found)

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:
        """Return the bus of each chain: all devices of a bus share its data pin."""
        own = {place.key for place in places}
        return tuple(
            Claim(
                "of this board's SPI", "bus", chain.bus, chain.bus, f"{key} alone", ("chains", key, "device")
            )
            for key, chain in self.chains.items()
            if key in own
        )


class _Bus:
    """An open bus that takes levels.

    Args:
        device: the bus.
        encoder: for the frames of its chain.
    """

    def __init__(self, device: str, encoder: Encoder) -> None:
        self._encoder = encoder
        self._port = open_port(device, encoder.choice.wave.hertz, encoder.length)

    def write(self, data: bytes) -> None:
        self._port.write(self._encoder.encode(data))

    def close(self) -> None:
        self._port.close()


@dataclass(slots=True, eq=False)
class _Lane:
    """One chain: its pace, its bus, and what was last told of it."""

    place: ChainPlace
    device: str
    encoder: Encoder
    pace: Pace
    figures: Figures
    writer: Writer | None = None
    ready: bool = False  # the bus is open, and the last frame is out
    retry_at: Instant = NEVER
    told_why: str = ""


class SpiFrames:
    """A frame output by SPI: each chain's newest frame is written as soon as the one before it is out."""

    options: ClassVar[type[Options]] = SpiOptions

    def __init__(
        self,
        name: str,  # noqa: ARG002 - every output is made with its name; nobody is told this one
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,
    ) -> None:
        """Make an output that writes nothing yet.

        Args:
            name: the output's name in the layout file.
            options: an `SpiOptions` in which nothing was found wrong.
            places: the chains.
            host: what the bridge offers.
        """
        said = cast("SpiOptions", options)
        self._host = host
        self._running = False
        self._told: LinkState | None = None
        self._promised: Instant = NEVER  # what `wake` returned last
        self._asked = False
        self._lanes: list[_Lane] = []
        for place in places:
            pace = Pace(said.refresh)
            encoder = Encoder([run.kind for run in place.chips], place.length)
            figures = Figures(host, place, pace.counters)
            self._lanes.append(_Lane(place, said.chains[place.key].device, encoder, pace, figures))

    async def start(self) -> None:
        """Begin to write as soon as the buses are open."""
        self._running = True
        for lane in self._lanes:
            self._open(lane)

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:  # noqa: ARG002 - a data line has no mark for it
        """Take the newest frame of a chain; write it now, or when the one that is on its way is out."""
        lane = self._lanes[index]
        lane.pace.put(levels)
        if self._running:
            self._ask(self._serve(lane, self._host.now()))

    def wake(self, now: Instant) -> Instant | None:
        """Do what is due and return when to be called next."""
        self._promised = 0  # while we are at it nothing needs another call
        self._asked = False
        due = NEVER
        for lane in self._lanes if self._running else ():
            if now >= lane.retry_at:
                lane.retry_at = NEVER
                self._open(lane)
            due = min(due, self._serve(lane, now), lane.figures.tell(now), lane.retry_at)
        self._promised = due
        return None if due == NEVER else due

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Write each chain's last frame behind the one that is on its way, and end; with None only end."""
        was_running, self._running = self._running, False
        frames: tuple[bytes | None, ...] = last or (None,) * len(self._lanes)
        writers = []
        for lane, levels in zip(self._lanes, frames, strict=False):
            if lane.writer is not None:
                lane.writer.hand(levels if was_running else None, ending=True)
                writers.append(lane.writer)
        for writer in writers:
            await writer.ended.wait()

    def _serve(self, lane: _Lane, now: Instant) -> Instant:
        """Hand over the newest frame if the bus is free and the pace allows; return when it may go otherwise."""
        if not lane.ready or lane.writer is None:
            return NEVER
        if lane.pace.due > now or lane.pace.newest is None:
            return lane.pace.due
        lane.ready = False
        lane.writer.hand(lane.pace.newest)
        lane.pace.sent(now)
        return NEVER

    def _ask(self, due: Instant) -> None:
        if due < self._promised and not self._asked:
            self._asked = True
            self._host.wake_soon()

    # ---- the buses -----------------------------------------------------------------------------------------

    def _open(self, lane: _Lane) -> None:
        lane.writer = Writer(
            lane.device,
            partial(_Bus, lane.device, lane.encoder),
            opened=partial(self._opened, lane),
            done=partial(self._out, lane),
            failed=partial(self._failed, lane),
        )

    def _opened(self, lane: _Lane) -> None:
        lane.pace.refresh()
        self._out(lane)

    def _out(self, lane: _Lane) -> None:
        """The bus is open, or a frame is out: the next one may go."""
        lane.ready = True
        if not self._running:
            return
        lane.told_why = ""
        if self._told is not LinkState.UP and all(each.ready or not each.told_why for each in self._lanes):
            self._told = LinkState.UP
            self._host.link(LinkState.UP, "they are written; whether a chip takes them nobody says")
        self._ask(self._serve(lane, self._host.now()))

    def _failed(self, lane: _Lane, problem: PortError | OSError) -> None:
        lane.writer, lane.ready = None, False
        if not self._running:
            return
        lane.pace.counters.failed += 1
        lane.retry_at = self._host.now() + TRY_AGAIN
        why = str(problem)
        if isinstance(problem, OSError):
            why = f"writing to {lane.device} failed: {problem.strerror or problem}"
        if why != lane.told_why:
            lane.told_why = why
            self._told = LinkState.LOST
            self._host.link(LinkState.LOST, why, "chains", lane.place.key, "device")
        self._ask(lane.retry_at)
