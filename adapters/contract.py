"""What an event source and a frame output must offer, and what the bridge offers them.

This file is the whole of the door. An adapter imports it, `bridge.events` and `bridge.errors`, and nothing
deeper; the bridge finds an adapter by its entry point (`lamproom.events` or `lamproom.outputs`) and knows
nothing else of it. Everything here is called on the event loop and must return at once; what waits is a coroutine.

An adapter may call its host at any time. What it tells in the midst of another step (inside `show`, `wake` or
`decode`) is handled when that step is over, so that the session log has its steps in the order of the engine.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager, AbstractContextManager
from dataclasses import dataclass
from typing import ClassVar, Final, Literal, Protocol, TypeAlias, runtime_checkable
from uuid import UUID

from pydantic import BaseModel, ConfigDict

from bridge.errors import DecodeError
from bridge.events import Event, Instant, LinkState


def _hyphens(name: str) -> str:
    return name.replace("_", "-")


@dataclass(frozen=True, slots=True)
class ChipRun:
    """Chips of one kind that follow each other on a data line.

    Attributes:
        kind: as the layout file has it: `ws2812b`.
        channels: bytes of one chip.
        count: how many there are.
    """

    kind: str
    channels: int
    count: int


@dataclass(frozen=True, slots=True)
class ChainPlace:
    """One chain that an output serves.

    Attributes:
        node: the node's name.
        chain: the chain's name, unique on its node.
        chips: what hangs on it, in the order of the data line.
    """

    node: str
    chain: str
    chips: tuple[ChipRun, ...]

    @property
    def key(self) -> str:
        """How the chain is called in the layout file: `node/chain`."""
        return f"{self.node}/{self.chain}"

    @property
    def length(self) -> int:
        """Bytes of a whole frame."""
        return sum(run.channels * run.count for run in self.chips)


Keys: TypeAlias = tuple[str | int, ...]
"""The way to a value from an adapter's entry in the layout file, such as `("chains", "tarn/throat", "universe")`."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that an adapter finds wrong with its entry in the layout file; it is told with its line.

    Attributes:
        keys: where it stands.
        message: what is wrong, and what to write instead.
        warning: the output runs as it is, and its owner should look.
    """

    keys: Keys
    message: str
    warning: bool = False


@dataclass(frozen=True, slots=True)
class Claim:
    """What one chain or source has to itself. Two claims of one space that overlap are an error, also of two adapters.

    Attributes:
        space: what is divided up, in words: `by E1.31 at 192.168.1.40`.
        unit: what it is divided into, in the singular: `universe`.
        first: the first that is claimed.
        last: the last that is claimed.
        owner: who claims it, in words: a chain's key, or an adapter's part.
        keys: where it stands.
        within: a wider space, whose claims reach into this one too: what is sent to all reaches each. Claims of two
            parts of it have nothing to do with each other.
    """

    space: str
    unit: str
    first: int
    last: int
    owner: str
    keys: Keys
    within: str = ""


@dataclass(frozen=True, slots=True)
class Mention:
    """Something of the layout that an adapter's entry speaks of; where it is not there, that is told with its line.

    Attributes:
        what: `block`, `district`, or `device` for a signal or a light.
        name: what it is called.
        keys: where it stands.
        aspects: those that the device should have; each is a key below.
    """

    what: Literal["block", "district", "device"]
    name: str
    keys: Keys
    aspects: tuple[str, ...] = ()


class Options(BaseModel):
    """The keys that an adapter takes in the layout file; a subclass names them.

    Keys are written with hyphens (`repeat-window`), values are checked when the file is read, and a key that
    no field names is refused with its line. An adapter that has more to look at, such as whether the chains of an
    output fit what they are given, does so in `faults` and `claims`; they are asked when the file is read, before
    anything runs. A source serves no chains.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", alias_generator=_hyphens)

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:  # noqa: ARG002 - for those that look
        """Return what is wrong with these options for an output that serves these chains."""
        return ()

    def mentions(self) -> tuple[Mention, ...]:
        """Return what of the layout these options speak of, so that a name that is not there is found in the file."""
        return ()

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:  # noqa: ARG002 - for those that claim
        """Return what nobody else may have; asked only where `faults` found no error."""
        return ()


@dataclass(frozen=True, slots=True)
class Raw:
    """What came in, exactly as it came; this is what the session log keeps.

    Attributes:
        channel: where it came from: an MQTT topic, a port, a pin.
        payload: the bytes.
        retained: it is a copy that was kept for those who come later.
    """

    channel: str
    payload: bytes
    retained: bool = False


AT_ONCE: Final = 100
"""Inputs that a source hands in at most before it lets the event loop turn. One takes some 50 µs."""

Receiver: TypeAlias = Callable[[Raw], None]


class Broker(Protocol):
    """The link to the MQTT broker that the bridge keeps and its adapters share."""

    @property
    def connected(self) -> bool:
        """Whether the broker has accepted us and the link stands."""
        ...

    @property
    def congested(self) -> bool:
        """Whether the link still has something to write: hand it no frame now."""
        ...

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        """Have `receive` called for every message that matches, now and after each new connection.

        The same receiver again for the same filter is no second one, so each `listen` may begin with this.
        """
        ...

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Publish at QoS 0 and return whether the link took it. It takes nothing while it is down."""
        ...

    def watch(self, changed: Callable[[LinkState], None]) -> None:
        """Have `changed` called when the link comes up (subscriptions renewed) and when it is lost; once each."""
        ...


class Door(Protocol):
    """The way in over HTTP for one source: a place of its own at the page's server, which the bridge keeps."""

    @property
    def address(self) -> str | None:
        """Where requests are taken, such as `http://127.0.0.1:8470/api/events/panel/`; None where no page is open."""
        ...

    def open(self, receive: Receiver) -> AbstractContextManager[None]:
        """Have `receive` called for each request, as long as the context lasts.

        A request comes as `Raw`: its channel is the path behind `address`, its payload the body. Whoever asked is
        answered by the bridge, with what `decode` makes of it.
        """
        ...


class SourceHost(Protocol):
    """What the bridge offers to one event source."""

    @property
    def door(self) -> Door:
        """The way in over HTTP."""
        ...

    @property
    def broker(self) -> Broker:
        """The shared link to the MQTT broker."""
        ...

    def received(self, raw: Raw) -> None:
        """Take what came in: it is stamped, logged, given to `decode`, and its events are handled, all at once.

        Nothing waits in a queue behind this. So a source that has much at hand lets the loop turn between, by
        `await host.sleep(0)` after every `AT_ONCE` at the latest: a read that finds its bytes already there does
        not wait, and would keep the lights waiting instead. What it has not read yet waits in the bus.
        """
        ...

    def link(self, state: LinkState, why: str) -> None:
        """Say that the source can be heard, or no longer, with a reason in plain words.

        The same state twice is no news. When `listen` ends the bridge says itself that the source is lost.
        """
        ...

    def now(self) -> Instant:
        """Return the present instant of the session."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Wait, for a heartbeat or the next question; a source has no clock of its own."""
        ...

    def timeout(self, seconds: float) -> AbstractAsyncContextManager[object]:
        """Return a limit for what is awaited in it, as `asyncio.timeout`: TimeoutError when it is over."""
        ...


class EventSource(Protocol):
    """One bus that tells what happens on the layout."""

    options: ClassVar[type[Options]]

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet; `options` is an instance of the class attribute."""
        ...

    async def listen(self) -> None:
        """Connect, say `link(UP, why)` as soon as the bus can be heard, and hand in all that comes by `received`.

        It goes on until the connection ends. Then it returns or raises, the source counts as lost, and the
        bridge calls it again after a back-off that is capped and jittered: a source retries nothing itself. An
        exception other than LinkError is told as a fault of the source, and it is called again as well.

        The bridge ends it by cancelling it, at any point where it waits. In whatever way it ends, it leaves
        nothing behind: no task, no socket, no thread. It has 0.3 s for that at the end of the bridge.

        Raises:
            LinkError: the connection failed or ended; the reason and the remedy in plain words.
        """
        ...

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the events that `raw` means, in order. No side effects.

        All of them are stamped `at` and have the source's own name as their `source`. That is looked at before
        the first is handled: where one differs the whole message is refused, and nothing of it has an effect.

        Raises:
            DecodeError: it means nothing here; the message says what was expected. No other exception.
        """
        ...


@runtime_checkable
class Explains(Protocol):
    """An event source whose bus people cannot read as it is: it says what an input is before what it tells."""

    def explain(self, raw: Raw) -> str:
        """Return what an input is, in a sentence. No side effects.

        Raises:
            DecodeError: it is nothing that this bus has.
        """
        ...


@runtime_checkable
class Triable(Protocol):
    """An event source whose input a person can write down: `lamproom check FILE --try CHANNEL PAYLOAD` asks it."""

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return what would come in if this was said there, once for each way in which it can come.

        Of a bus that keeps copies there are two ways: as it is said, and as the copy of it. There is none where this
        source would not hear it. No side effects.

        Raises:
            DecodeError: it would be heard here, and this is nothing that can be said there.
        """
        ...


class OutputHost(Protocol):
    """What the bridge offers to one frame output."""

    @property
    def broker(self) -> Broker:
        """The shared link to the MQTT broker."""
        ...

    @property
    def term(self) -> int | None:
        """The bridge's present term, or None while it is still learning which terms were used before."""
        ...

    @property
    def identity(self) -> UUID:
        """Who this bridge is among all senders of a network; it stays the same over restarts."""
        ...

    def now(self) -> Instant:
        """Return the present instant of the session."""
        ...

    def term_seen(self, term: int) -> bool:
        """Say that a node has obeyed this term; where it is higher than ours the bridge takes a new one.

        Except where another bridge is there that drives the node under it. Then this returns true, and the node
        is to be sent nothing until `term` is no longer lower than the one that it obeys.
        """
        ...

    def node(self, name: str, state: LinkState, why: str) -> None:
        """Say that a node acknowledges, or no longer, with a reason in plain words."""
        ...

    def board(self, node: str, board: str) -> None:
        """Say which board a node runs on, by something that this board alone has; the owner is told when it changes."""
        ...

    def link(self, state: LinkState, why: str, *keys: str | int) -> None:
        """Say that frames can go out, or no longer, with a reason and a remedy in plain words.

        For an output whose nodes do not answer. Whatever they show while it is lost is not to be relied upon.

        Args:
            state: up or lost.
            why: the reason; the owner is told it with the line that `keys` lead to.
            keys: the way to what has to be looked at in the output's entry, as in `Keys`.
        """
        ...

    def figures(self, place: ChainPlace, **figures: int) -> None:
        """Publish counters of a chain (sent, skipped, acknowledged and the like) for the page."""
        ...

    def refused(self, raw: Raw, error: DecodeError) -> None:
        """Note, once, and count what a node sent and cannot be understood."""
        ...

    def wake_soon(self) -> None:
        """Have `wake` called when the present turn of the loop is over, never from inside this call.

        An output asks when something became due earlier than `wake` said last: a node acknowledged, or a
        frame has to wait for the link. `wake` is also called when the term changes.
        """
        ...


class FrameOutput(Protocol):
    """One way to a controller. It keeps the newest frame of each chain and sends that one next, never a queue.

    One that may also be given a frame of another length than its chain says so by `any_length = True`, a class
    attribute: a lamp test of what is soldered and not yet in the layout file has such frames. All others are
    given them cut to the length, or filled up with zeros.
    """

    options: ClassVar[type[Options]]

    def __init__(self, name: str, options: Options, places: tuple[ChainPlace, ...], host: OutputHost) -> None:
        """Make an output for these chains that sends nothing yet."""
        ...

    async def start(self) -> None:
        """Begin to send what `show` was given and will be given."""
        ...

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        """Take the newest frame of chain `places[index]`; send it now or as soon as the link and node allow.

        Args:
            index: which of the places.
            levels: the whole frame.
            test: it is a picture of a lamp test, and is marked so where the wire has a mark for it.
        """
        ...

    def wake(self, now: Instant) -> Instant | None:
        """Do what is due (keep-alives, silent nodes) and return when to be called next, or None."""
        ...

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Send `last`, one frame a chain in the order of the places, marked as the last, and end.

        With None everything stays lit as it is: nothing more is sent. After 0.3 s it is cancelled.
        """
        ...
