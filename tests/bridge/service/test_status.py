"""What the bridge says of itself: true for whoever reads it, and said before the first frame."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from bridge import commands
from bridge.commands import Report
from bridge.events import LinkState
from bridge.service.state import StateFile
from bridge.service.status import AT_ONCE, Status
from bridge.service.term import Term
from tests.support.memory_broker import MemoryBroker, turns
from tests.support.waiting import until

OURS = "lamproom/bridge/main"


class Told:
    """A status with the term that it tells."""

    def __init__(self, broker: MemoryBroker, folder: Path) -> None:
        self.broker = broker
        self.link = broker.link()
        self.term = Term(self.link, StateFile(folder), name="main", number=0)
        self.status = Status(self.link, self.term, name="main", layout="Fernhollow")
        self.rivals: list[str] = []
        self.status.rival = self.rivals.append
        self.term.changed = lambda _term: self.status.everything()
        self.link.watch(self.term.link_changed)
        self.link.watch(self.status.link_changed)

    async def begin(self) -> None:
        """Come up and settle."""
        self.link.turn(LinkState.UP)
        await turns()

    def kept(self, topic: str = OURS) -> dict[str, Any]:
        """Return what the broker keeps under a topic."""
        said: dict[str, Any] = json.loads(self.broker.kept[topic])
        return said

    def will(self) -> dict[str, Any]:
        """Return what the broker would say of us now."""
        topic, payload = self.link.wills[-1]
        assert OURS == topic
        said: dict[str, Any] = json.loads(payload)
        return said


async def test_it_says_up_with_the_term_and_wills_lost_with_the_same(tmp_path: Path) -> None:
    """Where the guess was right the link stays as it is."""
    told = Told(MemoryBroker(), tmp_path)
    await told.begin()
    assert ("up", 256, "Fernhollow") == tuple(told.kept()[key] for key in ("state", "term", "layout"))
    assert ("lost", 256) == (told.will()["state"], told.will()["term"])
    assert told.kept()["run"] == told.will()["run"]
    assert 0 == told.link.renewed
    told.link.die()
    assert "lost" == told.kept()["state"]


async def test_first_term_above_the_guess_is_announced_before_the_link_is_made_anew(tmp_path: Path) -> None:
    """The will becomes true with a new connection, once; others know whose the term is before any frame goes."""
    broker = MemoryBroker()
    broker.kept["lamproom/bridge/other"] = b'{"state": "stopped", "term": 2560}'
    told = Told(broker, tmp_path)
    told.link.turn(LinkState.UP)
    await until(lambda: told.link.renewed == 1)
    assert ("up", 2816) == (told.kept()["state"], told.kept()["term"])
    await turns()
    assert 2816 == told.will()["term"]
    told.term.seen(9000)
    await turns()
    assert 1 == told.link.renewed
    assert told.term.value == told.kept()["term"] == told.will()["term"] == (9000 // 256 + 1) * 256


async def test_reports_wait_for_the_term_and_only_the_newest_of_each_goes_out(tmp_path: Path) -> None:
    """Several about one device within a moment are one; a new link brings all of them again."""
    told = Told(MemoryBroker(), tmp_path)
    for number in range(3 * AT_ONCE):
        for aspect in ("stop", "clear"):
            told.status.report(Report(0, f"S{number}", aspect, "invented"))
    await turns()
    assert not any(topic.startswith("lamproom/device/") for topic, _ in told.broker.published)
    await told.begin()
    await until(
        lambda: sum(topic.startswith("lamproom/device/") for topic in told.broker.kept) == 3 * AT_ONCE
    )
    run = told.kept()["run"]  # as what we left behind when we were killed does not have it
    assert {"aspect": "clear", "reason": "invented", "run": run} == told.kept("lamproom/device/S0")
    assert 3 * AT_ONCE == sum(topic.startswith("lamproom/device/") for topic, _ in told.broker.published)
    told.link.turn(LinkState.LOST)
    told.broker.kept.clear()
    told.link.turn(LinkState.UP)
    await until(
        lambda: sum(topic.startswith("lamproom/device/") for topic in told.broker.kept) == 3 * AT_ONCE
    )


async def test_close_says_everything_that_is_left_and_that_it_has_stopped(tmp_path: Path) -> None:
    """Also what was reported in the last moment."""
    told = Told(MemoryBroker(), tmp_path)
    await told.begin()
    for number in range(3 * AT_ONCE):
        told.status.report(Report(0, f"S{number}", "stop", "it has stopped"))
    told.status.close()
    assert "stopped" == told.kept()["state"]
    assert 3 * AT_ONCE == sum(topic.startswith("lamproom/device/") for topic in told.broker.kept)


async def test_another_bridge_of_our_name_is_noticed_and_what_we_left_behind_is_not(tmp_path: Path) -> None:
    """A kept copy from a run before is no rival; whoever speaks under our name while we are there is one."""
    broker = MemoryBroker()
    broker.kept[OURS] = b'{"state": "lost", "term": 256, "run": "earlier"}'
    told = Told(broker, tmp_path)
    await told.begin()
    await turns()
    assert [] == told.rivals
    for payload in (b"[]", b"{", b'{"state": "up"}', b'{"state": "up", "run": "another"}'):
        broker.take(OURS, payload)
    await turns()
    assert ["main"] == told.rivals


async def test_gates_of_a_crossing_are_kept_at_the_broker(tmp_path: Path) -> None:
    """Where they are and why stands under a topic of their own, for whoever comes later."""
    told = Told(MemoryBroker(), tmp_path)
    await told.begin()
    told.status.report(commands.Told(0, "gate", "mill-lane", "down", "the gates are down", (3,)))
    await until(lambda: "lamproom/gate/mill-lane" in told.broker.kept)
    run = told.kept()["run"]
    assert {"state": "down", "reason": "the gates are down", "run": run} == told.kept(
        "lamproom/gate/mill-lane"
    )
