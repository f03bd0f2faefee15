"""The event source for MQTT."""

from __future__ import annotations

import json
import tracemalloc
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.contract import Broker, EventSource, Raw, Receiver, SourceHost
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing.hosts import MemoryDoor, VirtualTime
from bridge.errors import DecodeError
from bridge.events import AccessoryOrdered, Event, LinkState, Position, event_from_data, event_to_data
from tests.support.hosts import listening


class Link:
    """A broker link in memory: it hands on what the test says has come."""

    def __init__(self, *, connected: bool = False) -> None:
        self.connected = connected
        self.congested = False
        self.filters: list[tuple[str, int]] = []
        self.receive: Receiver = lambda _: None
        self.changed: Callable[[LinkState], None] = lambda _: None

    def subscribe(self, topic_filter: str, receive: Receiver, *, qos: int = 0) -> None:
        self.filters.append((topic_filter, qos))
        self.receive = receive

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        raise AssertionError(f"a source publishes nothing: {topic} {payload!r} {retain}")

    def watch(self, changed: Callable[[LinkState], None]) -> None:
        self.changed = changed


class Host(VirtualTime):
    """What the source told."""

    def __init__(self, broker: Broker) -> None:
        super().__init__()
        self.door = MemoryDoor()
        self.broker = broker
        self.told: list[object] = []

    def received(self, raw: Raw) -> None:
        self.told.append(raw)

    def link(self, state: LinkState, why: str) -> None:
        self.told.append((state, why))


def source(host: SourceHost | None = None, root: str = "layout") -> MqttFacts:
    return MqttFacts("bus", MqttFactsOptions(root=root), host or Host(Link()))


PRESS = Raw("layout/button/shed", b"pressed")


def test_it_is_an_event_source() -> None:
    """It offers what the contract asks for."""
    made: EventSource = source()
    assert MqttFactsOptions is made.options


async def test_it_listens_below_its_root_alone() -> None:
    """One filter takes all, at a quality of service at which the broker does not drop kept copies."""
    link = Link()
    async with listening(source(Host(link), root="club/module 3")):
        assert [("club/module 3/#", 0)] == link.filters


async def test_what_comes_is_handed_on_as_it_came() -> None:
    """Stamping, logging and decoding is the bridge's work."""
    link = Link()
    host = Host(link)
    async with listening(source(host)):
        link.receive(PRESS)
    assert [PRESS] == host.told


async def test_the_link_is_told_when_it_changes_and_only_then() -> None:
    """Up, lost and up again; the same state twice is no news."""
    link = Link()
    host = Host(link)
    async with listening(source(host)):
        assert [] == host.told
        for state in (LinkState.UP, LinkState.UP, LinkState.LOST, LinkState.UP):
            link.changed(state)
    up, lost = (
        (LinkState.UP, "the link to the broker stands"),
        (LinkState.LOST, "the link to the broker is down"),
    )
    assert [up, lost, up] == host.told


async def test_a_link_that_stands_already_is_told_at_the_start() -> None:
    """Nobody will tell the source again."""
    host = Host(Link(connected=True))
    async with listening(source(host)):
        pass
    assert [(LinkState.UP, "the link to the broker stands")] == host.told


async def test_after_its_end_it_hands_on_nothing() -> None:
    """Neither messages nor the state of the link."""
    link = Link()
    host = Host(link)
    async with listening(source(host)):
        pass
    link.receive(PRESS)
    link.changed(LinkState.UP)
    assert [] == host.told


async def test_it_can_listen_again() -> None:
    """The link is told anew, and what comes is handed on once."""
    link = Link(connected=True)
    host = Host(link)
    made = source(host)
    for _ in range(2):
        async with listening(made):
            link.receive(PRESS)
    assert [(LinkState.UP, "the link to the broker stands"), PRESS] * 2 == host.told


@pytest.mark.parametrize(
    ("root", "message"),
    [
        ("", "the root is empty"),
        ("layout/#", "has a wildcard"),
        ("+/layout", "has a wildcard"),
        ("/layout", "write `layout`"),
        ("layout/", "write `layout`"),
        ("my//layout", "write `my/layout`"),
        ("/", "write `layout`"),
        ("$SYS", "begins with `$`"),
        ("lay\nout", "cannot be printed"),
        ("lay\x00out", "cannot be printed"),
        ("lamproom", "is where frames go out"),
        ("lamproom/frame", "is where frames go out"),
        ("x" * 129, "at most 128 characters"),
    ],
)
def test_a_root_that_cannot_be_listened_below_is_refused(root: str, message: str) -> None:
    """The message says in plain words what is wrong with it."""
    with pytest.raises(ValidationError) as refused:
        MqttFactsOptions(root=root)
    assert message in str(refused.value)


@pytest.mark.parametrize("root", ["layout", "lamproom2", "Fernhollow & Tarn/north"])
def test_a_root_of_the_owners_choice_is_taken(root: str) -> None:
    """Facts below it are understood, facts below another root are not."""
    made = source(root=root)
    expected = AccessoryOrdered(at=3, source="bus", number=61, position=Position.REVERSE)
    assert (expected,) == made.decode(Raw(f"{root}/accessory/61/ordered", b"reverse"), 3)
    with pytest.raises(DecodeError, match="not below"):
        made.decode(Raw("other/accessory/61/ordered", b"reverse"), 3)


def test_a_refusal_carries_topic_and_payload_cut() -> None:
    """Both are short, printable and on one line."""
    with pytest.raises(DecodeError) as refused:
        source().decode(Raw("layout/block/B1", b"\xff\n" + b"x" * 1000), 0)
    assert "layout/block/B1 \\xff\\n" + "x" * 78 + "… (1002 bytes)" == refused.value.received
    assert "`occupied`, `clear` or `unknown`" == refused.value.expected


@pytest.mark.parametrize("topic", ["block/B1", "accessory/61/ordered", "use/block/B1", "clock"])
def test_a_payload_of_a_megabyte_is_refused_unread(topic: str) -> None:
    """It is neither copied nor decoded: to refuse it takes as little memory as to refuse a short one."""
    made = source()
    raw = Raw(f"layout/{topic}", b"\xc3\xa4" * 500_000)
    tracemalloc.start()
    try:
        with pytest.raises(DecodeError, match="longer than"):
            made.decode(raw, 0)
        _now, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < len(raw.payload) // 10


def test_topics_without_end_do_not_fill_the_memory() -> None:
    """What is remembered of topics has a bound."""
    made = source()
    for number in range(20_000):
        made.decode(Raw(f"layout/block/b{number}", b"clear"), 0)
    assert 8192 == made._fact.cache_info().currsize


SHAPES = st.sampled_from(
    [
        "accessory/{}/ordered",
        "accessory/{}/proved",
        "aspect/{}",
        "block/{}",
        "power/{}",
        "button/{}",
        "clock",
        "{}",
    ]
)
TOPICS = st.one_of(
    st.text(st.characters()),
    st.builds(lambda shape, name: f"layout/{shape.format(name)}", SHAPES, st.text(st.characters())),
    st.builds(lambda shape, number: f"layout/{shape.format(number)}", SHAPES, st.integers(-9, 3000)),
)
WORDS = [
    "normal",
    "reverse",
    "moving",
    "unknown",
    "closed",
    "thrown",
    "released",
    "pressed",
    "on",
    "clear",
    "9",
]
PAYLOADS = st.one_of(
    st.binary(),
    st.text().map(str.encode),
    st.sampled_from(WORDS).map(str.encode),
    st.dictionaries(
        st.sampled_from(["time", "rate", "running"]), st.sampled_from(["06:45", 2.5, True, None])
    ).map(lambda clock: json.dumps(clock).encode()),
)


@given(TOPICS, PAYLOADS, st.booleans(), st.integers(0, 1 << 62))
def test_anything_at_all_is_an_event_or_refused(topic: str, payload: bytes, retained: bool, at: int) -> None:
    """Nothing but DecodeError comes out, what it says can be printed, and an event survives the log."""
    refused: DecodeError | None = None
    events: tuple[Event, ...] = ()
    try:
        events = source().decode(Raw(topic, payload, retained), at)
    except DecodeError as error:
        refused = error
    if refused is not None:
        words = f"{refused} {refused.received} {refused.expected}"
        words.encode()
        assert words.isprintable()
        assert len(words) < 2500
        return
    (event,) = events
    assert isinstance(event, Event)
    assert (at, "bus") == (event.at, event.source)
    assert event == event_from_data(json.loads(json.dumps(event_to_data(event))))
