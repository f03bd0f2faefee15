"""Four fixtures from the plan to the light: soldered, confirmed, and taken up by a real bridge and a node's board."""

from __future__ import annotations

from pathlib import Path

import pytest

from adapters.outputs.frame import decode
from tests.support.board import board_folder, switched_on
from tests.support.counting import CHAIN, LAYOUT, levels
from tests.support.daemon import Heard, hearing, publish, running
from tests.support.mosquitto import StartMosquitto
from tests.support.program import lamproom

NEW = ("N0", "N1", "N2", "N3")
BEHIND = "          - {name: S3, build: three-lamp}\n"
PLANNED = LAYOUT.replace(
    BEHIND,
    "          # four houses along the lane, not soldered yet\n"
    + "".join(f"          - {{name: {name}, build: house, planned: true}}  # {name[1]}\n" for name in NEW)
    + BEHIND,
).replace(
    "lights:\n",
    "lights:\n" + "".join(f"  {name}: {{when: {{accessory: 8{name[1]}}}, shows: white}}\n" for name in NEW),
)
BEFORE = levels(0)[:9]
"""What S0, S1 and S2 show, which stand before the new ones and are never ordered."""

CLEAR, RED, LIT, DARK = bytes.fromhex("ff0000"), levels(0)[:3], bytes.fromhex("ff0000"), bytes(3)


def frames(heard: Heard) -> list[bytes]:
    """Return the levels of all frames of the chain that came."""
    return [decode(payload)[1] for topic, payload in heard.all() if topic == f"lamproom/frame/{CHAIN}"]


@pytest.mark.parametrize("at_once", [True, False], ids=["all four", "two and two"])
def test_four_planned_fixtures_become_built(mosquitto: StartMosquitto, tmp_path: Path, at_once: bool) -> None:
    """As long as they are planned no byte is theirs; once built they are lit, and those before them never changed."""
    broker = mosquitto()
    folder = board_folder(tmp_path, PLANNED, "vale", broker.port)
    shown: list[bytes] = []
    with hearing(broker.port, "lamproom/frame/#") as heard:
        with switched_on(folder) as board:
            with running(tmp_path, PLANNED, broker.port) as daemon:
                daemon.wait_for("node vale answers")
                publish(broker.port, "layout/accessory/18/ordered", "normal")
                publish(broker.port, "layout/accessory/80/ordered", "reverse")
                board.wait_until_it_shows(BEFORE + CLEAR + RED + RED)

                file = str(daemon.file)
                if at_once:
                    told = lamproom("built", file, CHAIN, "--untested", "--write")
                    assert 0 == told.returncode, told.stderr
                else:
                    for pair in (NEW[:2], NEW[2:]):
                        told = lamproom("built", file, CHAIN, *pair, "--untested", "--write")
                        assert 0 == told.returncode, told.stderr
                assert "restart it to take up the change" in told.stdout
                assert PLANNED.replace(", planned: true", "") == daemon.file.read_text()

                # The bridge has the old file and the board the old length: nothing is different yet.
                publish(broker.port, "layout/accessory/18/ordered", "reverse")
                board.wait_until_it_shows(BEFORE + DARK + RED + RED)
            shown += [picture.levels for picture in board.pictures()]
        assert 0 == lamproom("replay", str(daemon.log())).returncode
        told = lamproom("node", file, "vale", "--to", str(folder))
        assert 0 == told.returncode, told.stderr
        with switched_on(folder) as board:
            board.wait_until_it_shows(BEFORE + 4 * DARK + RED + RED + RED)
            with running(tmp_path, daemon.file.read_text(), broker.port) as again:
                again.wait_for("node vale answers")
                publish(broker.port, "layout/accessory/18/ordered", "normal")
                publish(broker.port, "layout/accessory/80/ordered", "reverse")
                publish(broker.port, "layout/accessory/83/ordered", "reverse")
                board.wait_until_it_shows(BEFORE + LIT + DARK + DARK + LIT + CLEAR + RED + RED)
            shown += [picture.levels for picture in board.pictures()]
        sent = frames(heard)
    assert {BEFORE} == {levels[:9] for levels in (*shown, *sent)}
    assert {18, 30} == {len(levels) for levels in sent}
    assert "Traceback" not in daemon.output + again.output


def test_a_chip_is_marked_while_the_bridge_runs(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """Marked bypassed, the chip is gone from the frames of the next bridge and its signal is out of use."""
    broker = mosquitto()
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        told = lamproom("chip", str(daemon.file), "S1", "bypassed", "--write")
        assert 0 == told.returncode, told.stderr
    with hearing(broker.port, "lamproom/#") as heard, running(tmp_path, daemon.file.read_text(), broker.port):
        publish(broker.port, "layout/accessory/12/ordered", "normal")
        publish(broker.port, "layout/accessory/14/ordered", "normal")
        heard.levels(CHAIN, CLEAR + RED * 4)
    with hearing(broker.port, "lamproom/device/S1") as heard:
        assert b'"aspect": "stop"' in heard.next()[1]
