"""A desk to try an output at: a broker link in memory, a host that keeps what it was told, and a clock to turn."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from uuid import UUID

from adapters.contract import Broker, ChainPlace, ChipRun, FrameOutput, Raw, Receiver
from adapters.outputs.frame import Header, decode
from adapters.outputs.mqtt import MqttFrames, MqttFramesOptions
from adapters.outputs.node_talk import (
    Announcement,
    Shown,
    node_topic,
    shown_topic,
    write_announcement,
    write_shown,
)
from bridge.errors import DecodeError
from bridge.events import MILLISECOND, Instant, LinkState

TERM = 513
IDENTITY = UUID("8f1c2d3e-4a5b-4c6d-8e7f-a0b1c2d3e4f5")

ONE_PIXEL = (ChipRun("ws2812b", 3, 1),)

THROAT = ChainPlace("tarn-yard", "throat", ONE_PIXEL)
SHED = ChainPlace("tarn-yard", "shed", ONE_PIXEL)
HILL = ChainPlace("hill", "line", ONE_PIXEL)

DARK, RED, AMBER, GREEN = b"\0\0\0", b"\xff\0\0", b"\xff\x80\0", b"\0\xff\0"


@dataclass
class Link:
    """A broker link in memory."""

    connected: bool = True
    congested: bool = False
    room: int | None = None  # messages that it takes before it is congested
    published: list[tuple[str, bytes]] = field(default_factory=list)
    receivers: dict[str, Receiver] = field(default_factory=dict)
    changed: list[Callable[[LinkState], None]] = field(default_factory=list)

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        assert 0 == qos
        self.receivers[topic_filter] = receive

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        assert not retain, "a frame is never kept"
        if not self.connected:
            return False
        self.published.append((topic, payload))
        if self.room is not None:
            self.room -= 1
            self.congested = self.room <= 0
        return True

    def watch(self, changed: Callable[[LinkState], None]) -> None:
        self.changed.append(changed)

    def turn(self, state: LinkState) -> None:
        self.connected = state is LinkState.UP
        for changed in self.changed:
            changed(state)


@dataclass
class Host:
    """What the bridge offers, as the test wants it."""

    broker: Broker
    term: int | None = TERM
    clock: Instant = 0
    asked: bool = False
    terms: list[int] = field(default_factory=list)
    others: set[int] = field(default_factory=set)  # terms that other bridges are behind
    identity: UUID = IDENTITY
    nodes: list[tuple[str, LinkState, str]] = field(default_factory=list)
    boards: list[tuple[str, str]] = field(default_factory=list)
    links: list[tuple[LinkState, str, tuple[str | int, ...]]] = field(default_factory=list)
    told: list[tuple[Instant, ChainPlace, dict[str, int]]] = field(default_factory=list)
    refusals: list[tuple[Raw, DecodeError]] = field(default_factory=list)

    def now(self) -> Instant:
        return self.clock

    def term_seen(self, term: int) -> bool:
        self.terms.append(term)
        return term in self.others

    def node(self, name: str, state: LinkState, why: str) -> None:
        self.nodes.append((name, state, why))

    def board(self, node: str, board: str) -> None:
        self.boards.append((node, board))

    def link(self, state: LinkState, why: str, *keys: str | int) -> None:
        self.links.append((state, why, keys))

    def figures(self, place: ChainPlace, **figures: int) -> None:
        self.told.append((self.clock, place, figures))

    def refused(self, raw: Raw, error: DecodeError) -> None:
        self.refusals.append((raw, error))

    def wake_soon(self) -> None:
        self.asked = True


class LoopHost(Host):
    """A host on the clock of the event loop: it calls `wake` when it is asked to."""

    def begin(self, output: FrameOutput) -> None:
        self.output = output
        self.loop = asyncio.get_running_loop()
        self.began = self.loop.time()
        self.timer: asyncio.Handle = self.loop.call_soon(self._wake)

    def now(self) -> Instant:
        return int((self.loop.time() - self.began) * 1e9)

    def wake_soon(self) -> None:
        self.timer.cancel()
        self.timer = self.loop.call_soon(self._wake)

    def _wake(self) -> None:
        self.timer.cancel()
        due = self.output.wake(self.now())
        if due is not None:
            self.timer = self.loop.call_at(self.began + due / 1e9, self._wake)


class Desk:
    """An output with all that it needs. `run` calls `wake` exactly when it was asked to, and never else."""

    def __init__(self, *places: ChainPlace, term: int | None = TERM) -> None:
        self.places = places or (THROAT,)
        self.link = Link()
        self.host = Host(self.link, term)
        self.output = MqttFrames("out", MqttFramesOptions(), self.places, self.host)
        self.next: Instant | None = None

    @property
    def now(self) -> Instant:
        return self.host.clock

    def run(self, until: Instant) -> None:
        """Let the clock run to `until`."""
        self._wake_if_asked()
        while self.next is not None and self.next <= until:
            assert self.next > self.host.clock, "woken twice in one instant: the loop would spin"
            self.host.clock = self.next
            self._wake()
            self._wake_if_asked()
        self.host.clock = until

    def _wake_if_asked(self) -> None:
        if self.host.asked:
            self._wake()
            assert not self.host.asked, "asked for a wake by a wake"

    def _wake(self) -> None:
        self.host.asked = False
        self.next = self.output.wake(self.host.clock)

    def frames(self) -> list[tuple[str, Header, bytes]]:
        """Take the frames that went out since the last call."""
        taken = [(topic, *decode(message)) for topic, message in self.link.published]
        self.link.published.clear()
        return taken

    def pictures(self) -> list[tuple[str, bytes]]:
        """Take the frames that went out since the last call: chain and levels."""
        return [(topic.rsplit("/", 1)[1], levels) for topic, _, levels in self.frames()]

    def shown(self, place: ChainPlace, sequence: int, *, term: int = TERM, retained: bool = False) -> None:
        """Let a node acknowledge."""
        topic = shown_topic(place.node, place.chain)
        self.link.receivers["lamproom/shown/+/+"](Raw(topic, write_shown(Shown(term, sequence)), retained))

    def announce(self, node: str, announcement: Announcement, *, retained: bool = False) -> None:
        """Let a node announce itself."""
        raw = Raw(node_topic(node), write_announcement(announcement), retained)
        self.link.receivers["lamproom/node/+"](raw)


async def begun(*places: ChainPlace, term: int | None = TERM) -> Desk:
    """Give a desk whose output has started."""
    desk = Desk(*places, term=term)
    await desk.output.start()
    desk.run(0)
    return desk


async def answering(*places: ChainPlace) -> Desk:
    """Every chain shows DARK and has acknowledged it after 10 ms."""
    desk = await begun(*places)
    for index in range(len(desk.places)):
        desk.output.show(index, DARK)
    desk.run(10 * MILLISECOND)
    for place in desk.places:
        desk.shown(place, 1)
    assert {LinkState.UP} == {state for _, state, _ in desk.host.nodes}
    desk.host.nodes.clear()
    desk.frames()
    return desk
