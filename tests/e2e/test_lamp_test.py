"""Lamp tests with a real broker and the real bridge: asked for by hand and from a terminal, and seen by a node."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import pytest

from adapters.outputs.frame import LAMP_TEST, LAST
from bridge.record.replay import replay
from tests.support.counting import CHAIN, LAYOUT, levels, order
from tests.support.daemon import publish, running
from tests.support.mosquitto import Mosquitto
from tests.support.raw_mqtt import kept
from tests.support.raw_node import Frame, RawNode
from tests.support.terminal import Terminal, at_terminal
from tests.support.waiting import PATIENCE, wait

TOLD: Final = "lamproom/lamp-test/main"
NODE, CHAIN_NAME = CHAIN.split("/")
FIRST: Final = bytes([255, 255, 255]) + bytes(len(levels(0)) - 3)
"""The chain with its first chip lit."""


@pytest.fixture
def node(broker: Mosquitto) -> Iterator[RawNode]:
    """The node `vale`, which acknowledges what it is asked to show."""
    with RawNode(broker.port, NODE, CHAIN_NAME) as node:
        node.announce()
        yield node


def show_until(node: RawNode, shown: bytes, *, test: bool) -> Frame:
    """Show frames until one has these levels, with the mark of a test or without it."""
    seen = []
    for _ in range(60):
        frame = node.show()
        if (frame.levels, bool(frame.header.flags & LAMP_TEST)) == (shown, test):
            return frame
        seen.append((frame.levels.hex(), frame.header.flags))
    raise AssertionError(f"never shown: {shown.hex()}, but {seen}")


def until_told(port: int, **wanted: str) -> dict[str, Any]:
    """Wait until the bridge has said this of its lamp test."""
    said: dict[str, Any] = {}

    def holds() -> bool:
        said.clear()
        said.update(kept(port, TOLD))
        return all(said.get(key) == value for key, value in wanted.items())

    wait(holds, lambda: f"{wanted} was wanted, and {said} is told")
    return said


def test_a_test_by_hand_is_confirmed_marked_followed_and_over_in_time(
    broker: Mosquitto, node: RawNode, tmp_path: Path
) -> None:
    """Asked with any client: unlit before the yes, flagged while it runs; events go on, and its end is by itself."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        show_until(node, levels(0), test=False)
        assert "off" == until_told(broker.port)["state"]
        publish(broker.port, f"layout/lamp-test/chips/{CHAIN}", "3")
        said = until_told(broker.port, state="waiting", chain=CHAIN)
        assert (
            "S0, S1, S2, S3 and 2 other signals will show false aspects on vale/main for up to 3 s"
            in said["reason"]
        )
        publish(broker.port, f"layout/lamp-test/confirm/{CHAIN}", "not-this")
        assert (
            "not-this" in until_told(broker.port, state="waiting", **{"refused-mark": "not-this"})["refused"]
        )
        publish(broker.port, f"layout/lamp-test/confirm/{CHAIN}", said["mark"])
        began = show_until(node, FIRST, test=True)
        publish(broker.port, *order(1))  # followed beneath the test, and seen behind it
        over = show_until(node, levels(1), test=False)
        assert over.at - began.at < 3 + PATIENCE / 2
        assert "the time of the lamp test is over" in until_told(broker.port, state="off")["reason"]
        log = daemon.log()
        assert 0 == daemon.stop()
    result = replay(log)
    assert result.same, result.difference
    assert '"test":true' in log.read_text(encoding="utf-8")


def test_kept_copies_start_and_confirm_nothing(broker: Mosquitto, tmp_path: Path) -> None:
    """What the broker kept of an earlier day is refused in a sentence."""
    publish(broker.port, f"layout/lamp-test/chips/{CHAIN}", "60", "-r")
    publish(broker.port, f"layout/lamp-test/confirm/{CHAIN}", "1", "-r")
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        daemon.wait_for("a retained copy neither starts nor confirms nor ends a lamp test")
        assert "off" == until_told(broker.port)["state"]


def test_a_bridge_that_is_killed_during_a_test_comes_back_without_it(
    broker: Mosquitto, node: RawNode, tmp_path: Path
) -> None:
    """The next one shows the layout's own picture, and takes back what the broker kept of the test."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        publish(broker.port, f"layout/lamp-test/chips/{CHAIN}", "900 m1")
        until_told(broker.port, state="waiting")
        publish(broker.port, f"layout/lamp-test/confirm/{CHAIN}", "m1")
        show_until(node, FIRST, test=True)
        until_told(broker.port, state="running")
        daemon.process.kill()
        daemon.process.wait(10)
    assert "running" == kept(broker.port, TOLD)["state"]
    with running(tmp_path, LAYOUT, broker.port):
        frame = show_until(node, levels(0), test=False)
        assert 0 == frame.header.flags & (LAMP_TEST | LAST)
        assert "there was none since the start" == until_told(broker.port, state="off")["reason"]


# ---- from a terminal -------------------------------------------------------------------------------------------


@contextmanager
def terminal(file: Path, port: int, *options: str) -> Iterator[Terminal]:
    """Give a terminal with `lamproom lamps`."""
    with at_terminal("lamps", str(file), *options, port=port, state=file.parent / "own") as opened:
        yield opened


def test_the_terminal_asks_a_bridge_that_runs(broker: Mosquitto, node: RawNode, tmp_path: Path) -> None:
    """Questions and answers over a pipe: a mistake is told, a yes lights the chain, Enter ends it, q leaves."""
    with running(tmp_path, LAYOUT, broker.port) as daemon, terminal(daemon.file, broker.port) as owner:
        owner.until("What shall light? chips, channels, together, blink; or q to leave")
        owner.type("sparkle")
        owner.until("'sparkle' is none of these")
        owner.type("chips")
        owner.until("Where?")
        owner.type("val")
        owner.until("there is no 'val' in this layout; use one of: all, vale, town, ")
        owner.type("chips")
        owner.until("Where?")
        owner.type(CHAIN)
        owner.until(
            "vale/main: S0, S1, S2, S3, S4, S5 will show false aspects, for up to 60 s. Begin? y or n"
        )
        owner.type("perhaps")
        owner.until("y begins, n leaves this chain out, q ends it all")
        owner.type("y")
        owner.until(
            "vale/main shows a lamp test (each chip in turn) for up to 60 s; Enter ends this chain, q all"
        )
        show_until(node, FIRST, test=True)
        owner.type("")
        owner.until("the lamp test is over: its lamps show what the layout says again")
        show_until(node, levels(0), test=False)
        owner.type("q")
        assert 0 == owner.ended()
        assert "no bridge drives this layout here" not in "".join(owner.said)


def test_control_c_ends_the_test_and_the_command(broker: Mosquitto, node: RawNode, tmp_path: Path) -> None:
    """The lamps are given back before it has ended, with status 0."""
    options = ("--by", "channels", "--area", "S1", "--yes", "--for", "900")
    with (
        running(tmp_path, LAYOUT, broker.port) as daemon,
        terminal(daemon.file, broker.port, *options) as owner,
    ):
        owner.until("S1 on vale/main shows a lamp test")
        own = levels(0)
        show_until(node, own[:3] + bytes([255, 0, 0]) + own[6:], test=True)
        owner.process.send_signal(signal.SIGINT)
        owner.until("the lamp test was ended: its lamps show what the layout says again")
        assert 0 == owner.ended()
        show_until(node, own, test=False)
        assert "off" == until_told(broker.port, state="off")["state"]


def test_where_no_bridge_runs_one_runs_for_as_long(broker: Mosquitto, node: RawNode, tmp_path: Path) -> None:
    """It follows events, shows the test, gives the lamps back when the time is over, and ends with the last frames."""
    file = tmp_path / "layout.yaml"
    file.write_text(LAYOUT, encoding="utf-8")
    options = ("--by", "chips", "--area", CHAIN, "--yes", "--for", "2")
    with terminal(file, broker.port, *options) as owner:
        owner.until("no bridge drives this layout here")
        owner.until("Take care")
        show_until(node, FIRST, test=True)
        publish(broker.port, *order(1))
        show_until(node, levels(1), test=False)
        owner.until("the time of the lamp test is over")
        assert 0 == owner.ended()
    while not (frame := node.show()).header.flags & LAST:
        pass
    assert levels(0) == frame.levels


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--by", "sparkle"), "--by sparkle: write chips, channels, together or blink"),
        (("--by", "chips", "--for", "0"), "--for 0: write a number of seconds from 1 to 3600"),
        (("--by", "chips", "--area", "S9"), "there is no 'S9' in this layout"),
        (("--by", "chips", "--yes", "--area", "town"), "--yes confirms one chain, and town has 2"),
        (("--by", "chips"), "cannot be reached"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_status_2(
    tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    """A slip on the command line, and a broker that is not there."""
    file = tmp_path / "layout.yaml"
    file.write_text(LAYOUT, encoding="utf-8")
    with terminal(file, 1, *options) as owner:
        assert 2 == owner.ended()
    assert words in "".join(owner.said)
    assert "Traceback" not in "".join(owner.said)


def test_a_wish_that_the_bridge_refuses_is_told(broker: Mosquitto, tmp_path: Path) -> None:
    """Another test waits already: the reason is the bridge's own."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        publish(broker.port, "layout/lamp-test/blink/S0", "60")
        until_told(broker.port, state="waiting")
        with terminal(daemon.file, broker.port, "--by", "chips", "--area", CHAIN, "--yes") as owner:
            assert 2 == owner.ended()
        assert "the bridge main refused: a lamp test of S0 waits to be confirmed already" in "".join(
            owner.said
        )
