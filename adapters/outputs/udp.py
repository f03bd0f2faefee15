"""What all outputs over UDP have in common: one slot a chain, the pace, and a link that comes and goes.

Nobody answers on these protocols, so all that is known of a link is whether this machine could hand packets over, and
whether the other side refuses them (ICMP). A link that fails is told once with its remedy and tried again after 1, 2,
4, 8 and then each 10 seconds; meanwhile the newest frame of each chain stays in its slot.
"""

from __future__ import annotations

import asyncio
import errno
import socket
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Final, Protocol, TypeAlias, cast

from adapters.contract import ChainPlace, Options, OutputHost
from adapters.outputs.figures import Figures
from adapters.outputs.pace import NEVER, Pace
from adapters.outputs.udp_link import Target, Trouble, find, open_socket, trouble
from bridge.events import MILLISECOND, SECOND, Instant, LinkState

LINK_AGAIN: Final = 2 * MILLISECOND
"""A frame that found the socket's buffer full is tried again after this."""

BACK_OFF: Final = (1 * SECOND, 2 * SECOND, 4 * SECOND, 8 * SECOND, 10 * SECOND)
"""Waits before the first, second, ... attempt after a link was lost; the last goes on for ever."""

SETTLED: Final = 500 * MILLISECOND
"""A link counts as up when so long after its first packet nobody has refused one."""

LAST_WITHIN: Final = 0.2
"""Seconds that the last frames have to find room in the socket's buffer."""

_FULL: Final = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.ENOBUFS})

Packet: TypeAlias = tuple[bytearray, tuple[str, int] | None]
"""A packet and its address, None where the socket has one. It is good until the next one is asked for."""


class Stream(Protocol):
    """One chain on the wire."""

    def packets(self, levels: bytes) -> Iterator[Packet]:
        """Yield the packets of a frame, numbered on."""
        ...

    def farewell(self, levels: bytes) -> Iterator[Packet]:
        """Yield what goes out behind the last frame: what says that it was the last, or the frame again."""
        ...


class Signal(Protocol):
    """What goes out behind the frames of one instant."""

    def packets(self) -> Iterator[Packet]:
        """Yield its packets, numbered on."""
        ...


class Herald(Protocol):
    """What goes out from time to time, whatever is shown."""

    @property
    def every(self) -> Instant:
        """How long to wait in between."""
        ...

    def packets(self) -> Iterator[Packet]:
        """Yield its packets."""
        ...


@dataclass(slots=True, eq=False)
class _Lane:
    """One chain: its pace, its packets, and what was last told of it."""

    stream: Stream
    pace: Pace
    figures: Figures


class Sending(Protocol):
    """What the options of every one of these outputs say of where it sends to, and how often."""

    @property
    def host(self) -> str | None:
        """The controller, or None where each packet has its own address."""
        ...

    @property
    def port(self) -> int:
        """Where it listens."""
        ...

    @property
    def local_address(self) -> str | None:
        """The address of this machine to send from."""
        ...

    @property
    def local_port(self) -> int | None:
        """The port to send from."""
        ...

    @property
    def refresh(self) -> int:
        """Frames a second at the most, for each chain."""
        ...


class UdpFrames:
    """A frame output over UDP; what a packet looks like is for its streams to say.

    Attributes:
        protocol: what it speaks, in words for the owner.
    """

    protocol: ClassVar[str]

    def __init__(
        self,
        name: str,  # noqa: ARG002 - every output is made with its name; nobody is told this one
        options: Options,
        places: tuple[ChainPlace, ...],
        host: OutputHost,
    ) -> None:
        """Make an output that sends nothing yet.

        Args:
            name: the output's name in the layout file.
            options: those of its kind, in which nothing was found wrong.
            places: the chains.
            host: what the bridge offers.
        """
        said = cast("Sending", options)
        self._target = Target(
            said.host or "", said.port, self.protocol, said.local_address or "", said.local_port or 0
        )
        self._lanes: list[_Lane] = []
        for place, stream in zip(places, self.streams(options, places, host), strict=True):
            pace = Pace(said.refresh)
            self._lanes.append(_Lane(stream, pace, Figures(host, place, pace.counters)))
        self._signal = self.signal(options, host)
        self._herald = self.herald(options, places, host)
        self._herald_at: Instant = 0
        self._host = host
        self._signal_due = False
        self._running = self._finding = False
        self._socket: socket.socket | None = None
        self._opened_at: Instant = 0
        self._told: LinkState | None = None
        self._told_why: set[str] = set()  # reasons that were told since the link was last up
        self._failures = 0
        self._retry_at: Instant = 0
        self._blocked = 0  # the chain that found the buffer full: the first that is served then
        self._blocked_until: Instant = 0
        self._promised: Instant = NEVER  # what `wake` returned last
        self._asked = False

    def streams(self, options: Options, places: tuple[ChainPlace, ...], host: OutputHost) -> Sequence[Stream]:
        """Return one stream for each chain."""
        raise NotImplementedError

    def signal(self, options: Options, host: OutputHost) -> Signal | None:
        """Return what goes out behind the frames of one instant, if anything does."""
        del options, host
        return None

    def herald(self, options: Options, places: tuple[ChainPlace, ...], host: OutputHost) -> Herald | None:
        """Return what goes out from time to time, if anything does."""
        del options, places, host
        return None

    async def start(self) -> None:
        """Begin to send as soon as the controller is found."""
        self._running = True
        self._find()

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:  # noqa: ARG002 - these have no mark for it
        """Take the newest frame of a chain; send it now or as soon as the refresh limit and the link allow."""
        lane = self._lanes[index]
        lane.pace.put(levels)
        if self._socket is None:
            return
        now = self._host.now()
        if lane.pace.due <= now and now >= self._blocked_until:
            self._send(index, now)
        if self._signal_due:
            self._ask(now)
        self._ask(max(lane.pace.due, self._blocked_until))

    def wake(self, now: Instant) -> Instant | None:
        """Do what is due and return when to be called next."""
        self._promised = 0  # while we are at it nothing needs another call
        self._asked = False
        self._promised = self._wake(now) if self._running else NEVER
        return None if self._promised == NEVER else self._promised

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Send each chain its last frame and what belongs behind it, and end; with None only end."""
        was_running, self._running = self._running, False
        if was_running and last is not None and self._socket is not None:
            deadline = asyncio.get_running_loop().time() + LAST_WITHIN
            frames = list(zip((lane.stream for lane in self._lanes), last, strict=False))
            for stream, levels in frames:
                await self._push(stream.packets(levels), deadline)
            if self._signal is not None:
                await self._push(self._signal.packets(), deadline)
            for stream, levels in frames:
                await self._push(stream.farewell(levels), deadline)
        self._close()

    # ---- sending -------------------------------------------------------------------------------------------

    def _send(self, index: int, now: Instant) -> None:
        lane = self._lanes[index]
        pace = lane.pace
        if pace.newest is None:
            return
        if self._hand_over(lane.stream.packets(pace.newest), now):
            pace.sent(now)
            self._signal_due = self._signal is not None
            if self._told is not LinkState.UP and now - self._opened_at >= SETTLED:
                self._settle()
        else:
            pace.counters.failed += 1
            self._blocked = index

    def _hand_over(self, packets: Iterable[Packet], now: Instant) -> bool:
        """Hand packets to the socket; where it takes one no more, see to it that somebody tries again."""
        link = self._socket
        if link is None:
            return False
        try:
            for packet, address in packets:
                if address is None:
                    link.send(packet)
                else:
                    link.sendto(packet, address)
        except OSError as problem:
            if problem.errno in _FULL:
                self._blocked_until = now + LINK_AGAIN
            else:
                self._lose(trouble(self._target, problem), now)
            return False
        return True

    async def _push(self, packets: Iterable[Packet], deadline: float) -> None:
        """Hand over what will not be repeated, waiting for room."""
        loop = asyncio.get_running_loop()
        for packet, address in packets:
            while self._socket is not None:
                try:
                    if address is None:
                        self._socket.send(packet)
                    else:
                        self._socket.sendto(packet, address)
                except OSError as problem:
                    if problem.errno in _FULL and loop.time() < deadline:
                        await asyncio.sleep(LINK_AGAIN / SECOND)
                        continue
                break

    def _ask(self, due: Instant) -> None:
        if due < self._promised and not self._asked:
            self._asked = True
            self._host.wake_soon()

    # ---- time ----------------------------------------------------------------------------------------------

    def _wake(self, now: Instant) -> Instant:
        if self._socket is None and not self._finding and now >= self._retry_at:
            self._find()
        if self._socket is not None and now >= self._blocked_until:
            self._serve(now)
        if self._signal_due and self._signal is not None:
            # Behind all frames of this turn of the loop, so that what belongs together is shown together.
            self._signal_due = False
            self._hand_over(self._signal.packets(), now)
        if self._herald is not None and self._socket is not None and now >= self._herald_at:
            self._herald_at = now + self._herald.every
            self._hand_over(self._herald.packets(), now)
        soonest = min((lane.figures.tell(now) for lane in self._lanes), default=NEVER)
        if self._socket is not None:
            due = min((lane.pace.due for lane in self._lanes), default=NEVER)
            herald = NEVER if self._herald is None else self._herald_at
            return min(soonest, herald, max(due, self._blocked_until))
        return soonest if self._finding else min(soonest, self._retry_at)

    def _serve(self, now: Instant) -> None:
        first, count = self._blocked, len(self._lanes)
        for step in range(count):
            index = (first + step) % count
            if self._lanes[index].pace.due <= now:
                self._send(index, now)
                if self._socket is None or self._blocked_until > now:
                    return
        self._blocked = 0

    # ---- the link ------------------------------------------------------------------------------------------

    def _find(self) -> None:
        self._finding = True
        find(self._target, self._found)

    def _found(self, answer: str | Trouble) -> None:
        self._finding = False
        if not self._running:
            return
        now = self._host.now()
        if isinstance(answer, Trouble):
            self._lose(answer, now)
        else:
            try:
                self._socket = open_socket(self._target, answer)
            except OSError as problem:
                self._lose(trouble(self._target, problem), now)
            else:
                self._opened_at = self._herald_at = now
                self._blocked_until = 0
                for lane in self._lanes:
                    lane.pace.refresh()
        self._ask(now)

    def _settle(self) -> None:
        self._failures = 0
        self._told_why.clear()
        self._told = LinkState.UP
        self._host.link(
            LinkState.UP, f"they are sent to {self._target}; whether they arrive nobody says", "host"
        )

    def _lose(self, why: Trouble, now: Instant) -> None:
        self._close()
        self._retry_at = now + BACK_OFF[min(self._failures, len(BACK_OFF) - 1)]
        self._failures += 1
        self._told = LinkState.LOST
        if why.why not in self._told_why:
            self._told_why.add(why.why)
            self._host.link(LinkState.LOST, why.why, why.key)

    def _close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None
