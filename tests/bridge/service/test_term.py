"""Terms: learned before the first frame, raised above what is left over, and never a race between two bridges."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bridge.events import LinkState
from bridge.service.state import StateFile
from bridge.service.term import LAST_EPOCH, Term
from tests.support.memory_broker import MemoryBroker, MemoryLink, turns
from tests.support.waiting import until


class Told:
    """A term together with what it told."""

    def __init__(self, broker: MemoryBroker, folder: Path, name: str = "main", number: int = 0) -> None:
        self.link: MemoryLink = broker.link()
        self.state = StateFile(folder / name)
        self.term = Term(self.link, self.state, name=name, number=number)
        self.name = name
        self.changes: list[int] = []
        self.yielded: list[tuple[str, int]] = []
        self.beyond: list[int] = []
        self.unheard: list[str] = []
        self.term.changed = self._changed
        self.term.yielded = lambda name, term: self.yielded.append((name, term))
        self.term.beyond = self.beyond.append
        self.term.unheard = self.unheard.append
        self.link.watch(self.term.link_changed)

    def _changed(self, term: int) -> None:
        self.changes.append(term)
        self.say("up", term)

    def say(self, state: str, term: int) -> None:
        """Say of ourselves what a bridge says of itself."""
        said = json.dumps({"state": state, "term": term}).encode()
        self.link.publish(f"lamproom/bridge/{self.name}", said, retain=True)

    async def begin(self) -> None:
        """Come up and settle."""
        self.link.turn(LinkState.UP)
        await turns()


async def test_first_term_is_above_everything_that_was_heard_before_our_own_message(tmp_path: Path) -> None:
    """State file, retained announcements and nodes: the highest of them counts, and nothing is taken before."""
    broker = MemoryBroker()
    broker.kept["lamproom/bridge/other"] = b'{"state": "stopped", "term": 1280}'
    told = Told(broker, tmp_path, number=3)
    told.term.seen(7 * 256 + 9)
    assert told.term.value is None
    await told.begin()
    assert [8 * 256 + 3] == told.changes
    await until(lambda: StateFile(tmp_path / "main").number("epoch") == 8)


async def test_left_over_term_of_a_node_is_outbid(tmp_path: Path) -> None:
    """A term that nobody alive announces is of the past, however its bridge ended."""
    broker = MemoryBroker()
    broker.kept["lamproom/bridge/old"] = b'{"state": "lost", "term": 5120}'
    told = Told(broker, tmp_path)
    await told.begin()
    told.term.seen(told.changes[-1] + 700)
    assert [21 * 256, 24 * 256] == told.changes
    assert [] == told.yielded


async def test_term_of_a_living_bridge_is_not_outbid_and_told_once(tmp_path: Path) -> None:
    """Two bridges on the same nodes come to rest: the one that started last has them, the other says so once."""
    broker = MemoryBroker()
    first, second = Told(broker, tmp_path, "first"), Told(broker, tmp_path, "second")
    await first.begin()
    await second.begin()
    assert ([256], [512]) == (first.changes, second.changes)
    for _ in range(3):
        first.term.seen(512)
        second.term.seen(256)
        await turns()
    assert ([256], [512]) == (first.changes, second.changes)
    assert [("second", 512)] == first.yielded
    assert [] == second.yielded


@pytest.mark.parametrize(
    "end", [b'{"state": "lost", "term": 512}', b'{"state": "stopped", "term": 512}', b""]
)
async def test_nodes_are_taken_back_when_the_other_bridge_is_gone(tmp_path: Path, end: bytes) -> None:
    """Its last will, its goodbye, or an owner who clears what the broker keeps of it: each is the end of it."""
    broker = MemoryBroker()
    first, second = Told(broker, tmp_path, "first"), Told(broker, tmp_path, "second")
    await first.begin()
    await second.begin()
    first.term.seen(512)
    broker.take("lamproom/bridge/second", end, retain=True)
    await turns()
    assert [256, 3 * 256] == first.changes


async def test_bridge_with_other_nodes_is_nobodys_business(tmp_path: Path) -> None:
    """A higher term that no node of ours obeys is left alone, when its bridge comes and when it goes."""
    broker = MemoryBroker()
    first, second = Told(broker, tmp_path, "first"), Told(broker, tmp_path, "second")
    await first.begin()
    await second.begin()
    second.say("stopped", 512)
    await turns()
    assert [256] == first.changes
    assert [] == first.yielded


async def test_two_that_took_the_same_term_at_once_part(tmp_path: Path) -> None:
    """Nodes cannot tell them apart, so one goes above the other: the one whose name comes later."""
    broker = MemoryBroker()
    first, second = Told(broker, tmp_path, "first"), Told(broker, tmp_path, "second")
    first.link.turn(LinkState.UP)
    second.link.turn(LinkState.UP)
    await turns(60)
    assert ([256], [256, 512]) == (first.changes, second.changes)


async def test_bridge_that_went_while_our_link_was_down_is_missed_on_the_next(tmp_path: Path) -> None:
    """What is retained is heard again first; whoever is not among it then is gone."""
    broker = MemoryBroker()
    first, second = Told(broker, tmp_path, "first"), Told(broker, tmp_path, "second")
    await first.begin()
    await second.begin()
    first.term.seen(512)
    first.link.turn(LinkState.LOST)
    del broker.kept["lamproom/bridge/second"]  # as a broker that was started anew without its memory
    first.link.turn(LinkState.UP)
    first.term.seen(512)
    assert [256] == first.changes
    await turns()
    assert [256, 3 * 256] == first.changes


async def test_bridge_that_is_still_there_after_our_link_was_down_keeps_its_nodes(tmp_path: Path) -> None:
    """A node that comes with its term before the bridge's announcement is heard decides nothing."""
    broker = MemoryBroker()
    first, second = Told(broker, tmp_path, "first"), Told(broker, tmp_path, "second")
    await first.begin()
    await second.begin()
    first.link.turn(LinkState.LOST)
    first.link.turn(LinkState.UP)
    first.term.seen(512)
    await turns()
    assert [256] == first.changes
    assert [("second", 512)] == first.yielded


async def test_message_to_ourselves_that_does_not_come_back_is_asked_for_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The topic is told once, and as soon as it may be read the bridge goes on."""
    monkeypatch.setattr("bridge.service.term.ASK_AGAIN", 0.01)
    mark = "lamproom/bridge/main/mark"
    broker = MemoryBroker(deaf={mark})
    told = Told(broker, tmp_path)
    told.link.turn(LinkState.UP)
    await until(lambda: broker.published.count((mark, b"")) > 3)
    assert [mark] == told.unheard
    assert [] == told.changes
    broker.deaf.clear()
    await until(lambda: bool(told.changes))
    asked = len(broker.published)
    told.link.turn(LinkState.LOST)
    await turns()
    assert asked == len(broker.published)


async def test_what_is_no_announcement_is_passed_over(tmp_path: Path) -> None:
    """Anyone may publish anything there: nothing of it is a term, and nothing of it does harm."""
    broker = MemoryBroker()
    told = Told(broker, tmp_path)
    for payload in (b"", b"[]", b"{", b'{"term": true}', b'{"term": -5}', b'{"term": "9"}', b"[" * 100_000):
        told.link.turn(LinkState.UP)
        broker.take("lamproom/bridge/x", payload)
        await turns()
    assert [256] == told.changes


async def test_term_of_the_last_epoch_is_told_and_moves_nothing(tmp_path: Path) -> None:
    """There is none above it, and going round to 0 would be a mistake."""
    told = Told(MemoryBroker(), tmp_path)
    await told.begin()
    told.term.seen(LAST_EPOCH * 256)
    assert [LAST_EPOCH * 256] == told.beyond
    assert [256] == told.changes
