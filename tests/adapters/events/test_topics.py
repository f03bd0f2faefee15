"""The source of mapped topics on a link in memory: what it asks for, and when it is there."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from adapters.contract import AT_ONCE, EventSource, Raw
from adapters.events.topics import MappedTopics, TopicsOptions
from adapters.testing import BrokerEnd, FarEnd, SourceBench, SourceContract
from bridge.errors import DecodeError
from bridge.events import LinkState
from bridge.layout.text import parse
from tests.support.hosts import listening
from tests.support.memory_broker import turns

YARD = "messages: [{topic: 'yard/{name}', tells: block}, {topic: 'yard/K{name}/x', tells: block, qos: 1}]"
ALIVE = f"{YARD}, alive: {{topic: yard/status, here: online, gone: offline}}"
BEATING = f"{YARD}, alive: {{topic: yard/status, gone: offline, heartbeat: 10 s}}"


def options(text: str) -> TopicsOptions:
    """Return options as a layout file has them, written in braces."""
    return TopicsOptions.model_validate(parse("{" + text + "}").data)


def made(text: str, host: SourceBench) -> MappedTopics:
    """Return a source called `bus`."""
    return MappedTopics("bus", options(text), host)


class TestMappedTopics(SourceContract[FarEnd]):
    """It keeps the contract of a source."""

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[FarEnd]:
        yield BrokerEnd(host, (("yard/west", b"occupied"), ("yard/east", b"clear")))

    def source(self, far_end: FarEnd, host: SourceBench) -> EventSource:
        del far_end
        return made(YARD, host)


class Beating(BrokerEnd):
    """A box that says that it is there whenever the link stands, and again and again."""

    def __init__(self, host: SourceBench) -> None:
        super().__init__(host, (("yard/west", b"occupied"), ("yard/east", b"clear")))
        self._link = host.broker

    async def come_up(self) -> None:
        """Bring the link up, and beat."""
        await super().come_up()
        await self.live()

    async def live(self) -> None:
        """Beat."""
        self._link.hand("yard/status", b"here")


class TestBeatingTopics(SourceContract[Beating]):
    """It keeps the contract of a source where it says how it is alive."""

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[Beating]:
        yield Beating(host)

    def source(self, far_end: Beating, host: SourceBench) -> EventSource:
        del far_end
        return made(BEATING, host)


async def test_what_a_filter_brings_beside_its_topics_is_not_for_it() -> None:
    """MQTT has no filter for a part of a level: such messages are passed over without a word."""
    host = SourceBench()
    async with listening(made(YARD, host)):
        host.broker.turn(LinkState.UP)
        host.broker.hand("yard/K7/x", b"clear")
        host.broker.hand("yard/L7/x", b"clear")
        host.broker.hand("yard/west", b"clear")
    assert ["yard/K7/x", "yard/west"] == [raw.channel for raw in host.raws]


async def test_our_own_frames_are_not_for_it() -> None:
    """A topic that begins with a part would match them."""
    host = SourceBench()
    async with listening(made("messages: [{topic: '{area}/{name}/{x}/{y}', tells: block}]", host)):
        host.broker.turn(LinkState.UP)
        host.broker.hand("lamproom/frame/bench/one", b"clear")
        host.broker.hand("yard/west/1/2", b"clear")
    assert ["yard/west/1/2"] == [raw.channel for raw in host.raws]


async def test_without_a_sign_of_life_it_is_there_with_the_broker() -> None:
    """And lost with it."""
    host = SourceBench()
    async with listening(made(YARD, host)):
        host.broker.turn(LinkState.UP)
        host.broker.turn(LinkState.LOST)
        assert [LinkState.UP, LinkState.LOST] == [state for state, _why in host.links]


async def test_it_is_there_when_it_has_said_so_and_not_before() -> None:
    """A copy that the broker kept says so as well; an empty message and any other word say nothing."""
    host = SourceBench()
    source = made(ALIVE, host)
    async with listening(source):
        host.broker.turn(LinkState.UP)
        for word in (b"", b"ready", b"\xff", b"x" * 2000):
            host.broker.hand("yard/status", word)
            with pytest.raises(DecodeError):
                source.decode(host.raws[-1], 1)
        assert [] == host.links
        host.broker.hand("yard/status", b"online", retained=True)
        host.broker.hand("yard/status", b"offline")
        host.broker.hand("yard/status", b"online\n")
        host.broker.turn(LinkState.LOST)
    assert ["up", "lost", "up", "lost"] == [state.value for state, _why in host.links]
    assert () == source.decode(Raw("yard/status", b"online"), 1)


@pytest.mark.parametrize("gone", ["not yet", "said so", "link down"])
async def test_what_is_said_while_it_is_not_there_is_a_copy_once_it_is(gone: str) -> None:
    """Nobody knows who says that, or how old it is: the newest of each topic is state then, and no order."""
    host = SourceBench()
    async with listening(made(ALIVE, host)):
        host.broker.turn(LinkState.UP)
        if gone != "not yet":
            host.broker.hand("yard/status", b"online")
            host.broker.hand("yard/west", b"occupied")
        if gone == "said so":
            host.broker.hand("yard/status", b"offline")
        elif gone == "link down":
            host.broker.turn(LinkState.LOST)
            host.broker.turn(LinkState.UP)
        before = len(host.raws)
        for word in (b"occupied", b"clear"):
            host.broker.hand("yard/west", word)
        assert [] == host.raws[before:]
        host.broker.hand("yard/status", b"online")
        host.broker.hand("yard/west", b"occupied")
        assert await host.until(lambda: host.raws[-1] == Raw("yard/west", b"occupied"))
        held, fresh = [raw for raw in host.raws[before:] if raw.channel == "yard/west"]
    assert (b"clear", True) == (held.payload, held.retained)
    assert (b"occupied", False) == (fresh.payload, fresh.retained)


async def test_no_more_is_held_than_there_is_room_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """A flood of topics while it is away takes no memory without end; the newest of those that are held counts."""
    monkeypatch.setattr("adapters.events.topics.MOST_HELD", 3)
    host = SourceBench()
    async with listening(made(ALIVE, host)):
        host.broker.turn(LinkState.UP)
        for number in range(9):
            host.broker.hand(f"yard/b{number}", b"clear")
        host.broker.hand("yard/b2", b"occupied")
        host.broker.hand("yard/status", b"online")
        assert await host.until(lambda: channels(host)[-1:] == ["yard/b2"])
    assert [("yard/b0", b"clear"), ("yard/b1", b"clear"), ("yard/b2", b"occupied")] == [
        (raw.channel, raw.payload) for raw in host.raws if raw.channel != "yard/status"
    ]


@pytest.mark.parametrize(
    ("entries", "longest"),
    [("", 1024), (", {topic: 'json/{name}', tells: block, json: {value: /v}}", 16_384)],
)
async def test_of_what_is_too_long_no_more_is_held_than_is_refused_still(entries: str, longest: int) -> None:
    """Some payloads of a megabyte on each of many topics would take all memory; what is not too long stays whole."""
    host = SourceBench()
    source = made(
        f"messages: [{{topic: 'yard/{{name}}', tells: block}}{entries}],"
        " alive: {topic: box, here: online, gone: offline}",
        host,
    )
    whole = b"clear".ljust(longest)
    async with listening(source):
        host.broker.turn(LinkState.UP)
        host.broker.hand("yard/west", b"clear" + bytes(1_000_000))
        host.broker.hand("yard/east", whole)
        host.broker.hand("box", b"online")
        assert await host.until(lambda: len(host.raws) == 3)
    west, east = host.raws[1:]
    assert longest + 1 == len(west.payload)
    with pytest.raises(DecodeError, match="longer than 1024 bytes"):
        source.decode(west, 1)
    assert whole == east.payload


async def hold(host: SourceBench, count: int) -> list[str]:
    """Bring the link up and say something on so many topics of a source that is not there yet; return them."""
    topics = [f"yard/b{number}" for number in range(count)]
    host.broker.turn(LinkState.UP)
    for topic in topics:
        host.broker.hand(topic, b"clear")
    return topics


def channels(host: SourceBench) -> list[str]:
    """Return where what was handed in came from, but for the signs of life."""
    return [raw.channel for raw in host.raws if raw.channel != "yard/status"]


async def test_what_was_held_is_handed_in_a_few_at_once_and_in_order() -> None:
    """The lights wait while a source hands in; what comes meanwhile comes behind."""
    host = SourceBench()
    async with listening(made(ALIVE, host)):
        topics = await hold(host, 5 * AT_ONCE + 3)
        host.broker.hand("yard/status", b"online")
        fresh: list[str] = []
        for _ in range(5):
            for _ in range(30):
                fresh.append(f"yard/f{len(fresh)}")
                host.broker.hand(fresh[-1], b"clear")
            await asyncio.sleep(0)
        assert await host.until(lambda: channels(host)[-1] == fresh[-1])
        host.broker.hand("yard/last", b"clear")
        assert "yard/last" == host.raws[-1].channel
    assert AT_ONCE == host.longest
    assert [*topics, *fresh, "yard/last"] == channels(host)
    assert [True] * len(topics) + [False] * (len(fresh) + 1) == [
        raw.retained for raw in host.raws if raw.channel != "yard/status"
    ]


async def test_what_waits_counts_for_what_it_was_when_it_came() -> None:
    """It says that it is gone, something is said in its name, and it is back: all while much waits."""
    host = SourceBench()
    async with listening(made(ALIVE, host)):
        topics = await hold(host, 2 * AT_ONCE)
        for topic, payload in (
            ("status", b"online"),
            ("west", b"clear"),
            ("status", b"offline"),
            ("west", b"occupied"),
            ("status", b"online"),
            ("east", b"clear"),
        ):
            host.broker.hand(f"yard/{topic}", payload)
        assert await host.until(lambda: channels(host)[-1:] == ["yard/east"])
    assert [*topics, "yard/west", "yard/west", "yard/east"] == channels(host)
    assert [False, True, False] == [raw.retained for raw in host.raws if raw.channel[5:] in ("west", "east")]
    assert ["up", "lost", "up"] == [state.value for state, _why in host.links]


async def test_what_waits_is_lost_with_the_link() -> None:
    """As everything else that was on its way; nothing of it comes behind the loss."""
    host = SourceBench()
    async with listening(made(ALIVE, host)):
        await hold(host, 3 * AT_ONCE)
        host.broker.hand("yard/status", b"online")
        await turns(2)
        host.broker.turn(LinkState.LOST)
        there = channels(host)
        await turns()
        assert there == channels(host)
        assert 0 < len(there) < 3 * AT_ONCE
        host.broker.turn(LinkState.UP)
        host.broker.hand("yard/status", b"online")
        host.broker.hand("yard/west", b"clear")
        assert [*there, "yard/west"] == channels(host)


def test_one_topic_may_be_a_heartbeat_and_tell_of_a_block() -> None:
    """Where an entry is about that very topic."""
    text = "messages: [{topic: s, tells: block, name: w}], alive: {topic: s, heartbeat: 10 s}"
    (event,) = made(text, SourceBench()).decode(Raw("s", b"clear"), 1)
    assert "w" == getattr(event, "name", "")


async def test_a_member_may_say_it() -> None:
    """Numbers and truth values by what they are."""
    host = SourceBench()
    said = f"{YARD}, alive: {{topic: s, json: /up, here: true, gone: 0}}"
    async with listening(made(said, host)):
        host.broker.turn(LinkState.UP)
        for payload in (b'{"up": true}', b'{"down": 1}', b'{"up": []}', b'{"up": 0.0}'):
            host.broker.hand("s", payload)
    assert [LinkState.UP, LinkState.LOST] == [state for state, _why in host.links]


@pytest.mark.parametrize(("json", "payload"), [("", b"off "), (", json: /up", b'{"up": " off"}')])
async def test_nothing_around_a_word_counts(json: str, payload: bytes) -> None:
    """Neither in the file nor in the message."""
    host = SourceBench()
    async with listening(made(f"{YARD}, alive: {{topic: s{json}, gone: 'off '}}", host)):
        host.broker.turn(LinkState.UP)
        host.broker.hand("s", payload)
    assert [LinkState.LOST] == [state for state, _why in host.links]


async def test_a_heart_that_stops_is_a_source_that_is_lost() -> None:
    """Ten seconds after its last beat, and it is back with the next; a kept copy is no beat."""
    host = SourceBench()
    async with listening(made(BEATING, host)):
        host.broker.turn(LinkState.UP)
        host.broker.hand("yard/status", b"beat", retained=True)
        assert [] == host.links
        host.broker.hand("yard/status", b"beat")
        begun = host.now()
        await host.until(lambda: len(host.links) > 1)
        assert 10 <= (host.now() - begun) / 1e9 <= 10.5
        assert (LinkState.LOST, "its heartbeat has stopped: none came for 10 s") == host.links[1]
        host.broker.hand("yard/status", b"beat")
        host.broker.hand("yard/status", b"offline")
        begun = host.now()
        await host.until(lambda: host.now() - begun > 20e9)
    assert ["up", "lost", "up", "lost"] == [state.value for state, _why in host.links]


def test_a_broker_is_asked_once_for_what_two_filters_cover() -> None:
    """With the better of their qualities of service."""
    text = "messages: [{topic: 'a/#', tells: block, name: w}, {topic: a/b, tells: block, name: w, qos: 2}]"
    assert {"a/#": 2} == made(text, SourceBench())._filters
