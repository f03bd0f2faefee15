"""What the broker had to drop is told: of a real Mosquitto, and of whatever else it may say."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from adapters.contract import Raw
from adapters.testing import MemoryLink
from bridge.events import LinkState
from bridge.service.drops import TOPIC, Drops
from bridge.service.notes import Notes
from tests.bench.load import layout
from tests.bench.wire import Wire, publication
from tests.support.daemon import running
from tests.support.mosquitto import StartMosquitto


def heard(*payloads: bytes) -> tuple[list[str], list[int]]:
    """Return what is told, and counted, when the broker says these one after the other."""
    link, notes, counted = MemoryLink(), Notes(), list[int]()
    Drops(link, notes, counted.append)
    link.turn(LinkState.UP)
    for payload in payloads:
        link.hand(TOPIC, payload)
    return [note["text"].split(" so far")[0] for note in notes.after(0)], counted


def test_what_was_dropped_before_us_is_none_of_ours() -> None:
    """The first count is where counting begins, also after the broker has begun anew."""
    assert ([], []) == heard(b"500")
    assert ([], []) == heard(b"500", b"500", b"0", b"0")
    assert [3] == heard(b"500", b"0", b"3")[1]


def test_it_is_told_once_and_when_there_are_ten_times_as_many() -> None:
    """All are counted."""
    told, counted = heard(b"0", b"7", b"8", b"69", b"70", b"699", b"700")
    assert [f"the broker could not hand on {number} messages" for number in (7, 70, 700)] == told
    assert [7, 1, 61, 1, 629, 1] == counted


@pytest.mark.parametrize("payload", [b"", b"-1", b"many", b"\xff", b"9" * 4000, "\u0663".encode()])
def test_what_is_no_count_is_passed_over(payload: bytes) -> None:
    """It is another broker's business what stands there."""
    assert ([], []) == heard(b"0", payload)


def test_other_topics_are_none_of_its_business() -> None:
    """A link may hand it anything."""
    link, notes = MemoryLink(), Notes()
    drops = Drops(link, notes, lambda _count: None)
    for count in (b"0", b"9"):
        drops._heard(Raw("$SYS/broker/other", count))
    assert [] == notes.after(0)


def test_a_bridge_that_was_held_up_tells_that_events_may_be_missing(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """Mosquitto keeps what the system's buffers and its own queue hold; the rest it drops and counts, and we tell."""
    broker = mosquitto("sys_interval 1", "max_queued_messages 100")
    with running(tmp_path, layout(), broker.port) as daemon:
        daemon.process.send_signal(signal.SIGSTOP)
        try:
            flood = Wire(broker.port, "flood", 60)
            many = publication("layout/aspect/1", b"7" + b" " * 400) * 500
            for _ in range(100):
                flood.send(many)
            flood.close()
        finally:
            daemon.process.send_signal(signal.SIGCONT)
        daemon.wait_for("messages so far, to us or to another of its clients, and dropped them", 60)
