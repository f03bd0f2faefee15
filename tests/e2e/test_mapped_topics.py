"""Five invented conventions, as the guide describes them, through a real broker and the daemon to the right byte."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.support.daemon import hearing, publish, running
from tests.support.mosquitto import StartMosquitto
from tests.support.raw_mqtt import RawClient
from tests.test_documentation import layout_blocks

# The bytes of a WS2812B, which takes green first: signal green is green with a fifth of blue (README.md).
STOP, CLEAR = "00ff00", "79001a"
ON, OFF = "ff0000", "000000"  # the first of the three channels of a WS2811


class Step(NamedTuple):
    """A message of a convention, and what the chain shows after it."""

    topic: str
    payload: str | bytes
    shows: str


CONVENTIONS = {
    "Numbers in the topic": [
        Step("yard/turnout/61/set", "T", CLEAR),
        Step("yard/turnout/61/set", "C", STOP),
    ],
    "Numbers in JSON": [
        Step("club/points", '{"point": {"addr": 161, "to": "div"}}', CLEAR),
        Step("club/points", '{"point": {"addr": 161, "to": "main"}, "who": "tower"}', STOP),
        Step("club/route", '{"set": [{"addr": 162, "to": "main"}, {"addr": 161, "to": "div"}]}', CLEAR),
    ],
    "Many members": [
        Step("shed/box", '{"k1": 1, "k2": 0, "uptime": 814}', f"{ON} {OFF} {OFF}"),
        Step("shed/box", '{"k2": 1}', f"{ON} {ON} {OFF}"),
        Step("shed/loft/tracks", '{"1": false, "2": true}', f"{ON} {ON} {ON}"),
        Step("shed/box", '{"k1": 0.0, "k2": 0}', f"{OFF} {OFF} {ON}"),
    ],
    "Bit masks": [
        Step("cellar/inputs", "7E", f"{ON} {ON} {OFF}"),
        Step("cellar/inputs", "ff", f"{OFF} {OFF} {OFF}"),
        Step("cellar/panel", b"\x01\xfe", f"{OFF} {OFF} {ON}"),
        Step("cellar/inputs", "0x7f", f"{OFF} {ON} {ON}"),
    ],
    "Text with units": [
        Step("loft/status", "online", f"{STOP} {OFF}"),
        Step("loft/west/current", "12.5 mA", f"{STOP} {ON}"),
        Step("loft/orders", "throw 61 over", f"{CLEAR} {ON}"),
        Step("loft/west/current", "3.9 mA", f"{CLEAR} {OFF}"),
    ],
}


def convention(title: str) -> str:
    """Return the layout of the guide that has this title."""
    (text,) = (
        block.text for block in layout_blocks("config/guide/topics.md") if f"layout: {title}\n" in block.text
    )
    return text


@pytest.mark.parametrize("title", CONVENTIONS)
def test_a_convention_reaches_the_byte(tmp_path: Path, mosquitto: StartMosquitto, title: str) -> None:
    """Each message of it lights what its owner said, and nothing is refused on the way."""
    port = mosquitto().port
    with hearing(port, "lamproom/frame/#") as frames, running(tmp_path, convention(title), port) as daemon:
        for step in CONVENTIONS[title]:
            publish(port, step.topic, step.payload)
            frames.levels("bench/one", bytes.fromhex(step.shows))
        assert "means nothing" not in daemon.output


def test_a_kept_copy_orders_nothing(tmp_path: Path, mosquitto: StartMosquitto) -> None:
    """What the broker kept from before comes in as state: the signal waits for an order, and then obeys it."""
    port = mosquitto().port
    publish(port, "yard/turnout/61/set", "T", "-r")
    with (
        hearing(port, "lamproom/frame/#") as frames,
        running(tmp_path, convention("Numbers in the topic"), port) as daemon,
    ):
        frames.levels("bench/one", bytes.fromhex(STOP))
        publish(port, "yard/turnout/62/set", "C")  # behind the copy in the order of the broker
        daemon.wait_for("nothing in this layout listens to it")
        assert CLEAR not in {payload[12:].hex() for _topic, payload in frames.all()}
        publish(port, "yard/turnout/61/set", "T")
        frames.levels("bench/one", bytes.fromhex(CLEAR))


def test_what_means_nothing_is_told_once_and_changes_nothing(
    tmp_path: Path, mosquitto: StartMosquitto
) -> None:
    """With what came and what would be understood."""
    port = mosquitto().port
    with (
        hearing(port, "lamproom/frame/#") as frames,
        running(tmp_path, convention("Numbers in the topic"), port) as daemon,
    ):
        publish(port, "yard/turnout/61/set", "t")
        daemon.wait_for("`t` has no meaning here (`T` does: capitals count); understood would be: `T` or `C`")
        publish(port, "yard/turnout/61/set", "T")
        frames.levels("bench/one", bytes.fromhex(CLEAR))


def test_a_source_is_lost_with_its_last_will(tmp_path: Path, mosquitto: StartMosquitto) -> None:
    """A real client is cut without a goodbye: the broker says so for it, and the signal rests."""
    port = mosquitto().port
    text = convention("Text with units")
    with hearing(port, "lamproom/frame/#") as frames, running(tmp_path, text, port) as daemon:
        with RawClient(port, "loft", will=("loft/status", b"offline")) as loft:
            publish(port, "loft/status", "online", "-r")
            daemon.wait_for("events from loft come in: it says that it is here")
            publish(port, "loft/orders", "throw 61 over")
            frames.levels("bench/one", bytes.fromhex(f"{CLEAR} {OFF}"))
            loft.vanish()
            daemon.wait_for("events from loft do not come in: it says that it is gone, or its last will does")
        frames.levels("bench/one", bytes.fromhex(f"{STOP} {OFF}"))


def test_a_source_is_lost_when_its_heart_stops(tmp_path: Path, mosquitto: StartMosquitto) -> None:
    """A client that hangs says nothing, and its connection stands."""
    port = mosquitto().port
    text = convention("Text with units").replace("heartbeat: 30 s", "heartbeat: 1 s")
    with hearing(port, "lamproom/frame/#") as frames, running(tmp_path, text, port) as daemon:
        publish(port, "loft/status", "online", "-r")
        daemon.wait_for("events from loft come in: it says that it is here")
        publish(port, "loft/orders", "throw 61 over")
        frames.levels("bench/one", bytes.fromhex(f"{CLEAR} {OFF}"))
        daemon.wait_for("events from loft do not come in: its heartbeat has stopped: none came for 1 s")
        frames.levels("bench/one", bytes.fromhex(f"{STOP} {OFF}"))


def test_an_order_in_the_name_of_a_source_that_is_gone_clears_nothing(
    tmp_path: Path, mosquitto: StartMosquitto
) -> None:
    """It has said that it is gone: whoever orders now is not it, or it was long ago; back again it is obeyed."""
    port = mosquitto().port
    text = convention("Text with units")
    with hearing(port, "lamproom/frame/#") as frames, running(tmp_path, text, port) as daemon:
        publish(port, "loft/status", "online")
        daemon.wait_for("events from loft come in: it says that it is here")
        publish(port, "loft/status", "offline")
        daemon.wait_for("events from loft do not come in: it says that it is gone, or its last will does")
        publish(port, "loft/orders", "throw 61 over")
        publish(port, "loft/west/current", "12.5 mA")
        publish(port, "loft/status", "online")
        frames.levels(
            "bench/one", bytes.fromhex(f"{STOP} {ON}")
        )  # what is held tells of the block, and orders nothing
        assert not {payload[12:15].hex() for _topic, payload in frames.all()} & {CLEAR}
        publish(port, "loft/orders", "throw 61 over")
        frames.levels("bench/one", bytes.fromhex(f"{CLEAR} {ON}"))
