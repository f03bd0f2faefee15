"""The program for nodes under a real MicroPython: orders in at one end, bytes for the data line out at the other."""

from __future__ import annotations

import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from adapters.outputs.frame import LAMP_TEST, encode
from bridge.service.node_settings import Wishes
from tests.support.board import Board, board_folder, switched_on
from tests.support.counting import CHAIN, LAYOUT, levels, order
from tests.support.daemon import Daemon, publish, running
from tests.support.mosquitto import Mosquitto, StartMosquitto
from tests.support.raw_mqtt import RawClient, kept
from tests.support.waiting import wait

NODE = "lamproom/node/vale"
"""Where the node announces itself."""

FRAMES = f"lamproom/frame/{CHAIN}"
SILENT_S = 2
"""The shortest that the settings allow, so that the tests need not wait for long."""

INSERTED = LAYOUT.replace(
    "fixtures:\n          - {name: S0,",
    "fixtures:\n"
    + "".join(f"          - {{name: new-{index}, build: house}}\n" for index in range(4))
    + "          - {name: S0,",
    1,
)
"""The same layout after four fixtures were soldered in at the node's end of its chain."""


@pytest.fixture
def board(broker: Mosquitto, tmp_path: Path) -> Iterator[Board]:
    """The board of the node `vale`, switched on."""
    folder = board_folder(tmp_path, LAYOUT, "vale", broker.port, silent_after_s=SILENT_S)
    with switched_on(folder) as board:
        yield board


def answers(daemon: Daemon, times: int = 1) -> None:
    """Wait until the bridge has said so often that the node answers."""
    wait(lambda: daemon.output.count("node vale answers") >= times, lambda: daemon.output)


def test_every_order_leads_to_its_bytes_on_the_data_line(
    broker: Mosquitto, board: Board, tmp_path: Path
) -> None:
    """Twenty orders, each waited for, come out as the bytes that the layout file means; the board acknowledges."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        for state in range(1, 21):
            publish(broker.port, *order(state))
            board.wait_until_it_shows(levels(state))
    assert "Traceback" not in board.output + daemon.output


def test_board_shows_the_restrictive_picture_before_it_hears_of_anything(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """Without a broker the picture stands from the first moment, and the board tries again for ever."""
    broker = mosquitto()
    broker.stop()
    with switched_on(board_folder(tmp_path, LAYOUT, "vale", broker.port)) as board:
        board.wait_until_it_shows(levels(0))
        board.wait_for("no broker")
        broker.start()
        board.wait_for("the broker is there")


def test_broker_that_is_killed_and_restarted_is_found_again(
    broker: Mosquitto, board: Board, tmp_path: Path
) -> None:
    """Meanwhile the picture stands; afterwards the bridge is answered again and orders are shown as before."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
        broker.stop()
        board.wait_until_it_shows(levels(0))
        # By its last will, where the broker has said that to the bridge before it ended; after 3 s where it has not.
        daemon.wait_for("node vale does not answer")
        broker.start()
        answers(daemon, 2)
        for state in (1, 2, 3):
            publish(broker.port, *order(state))
        board.wait_until_it_shows(levels(3))


def test_broker_that_freezes_is_left_and_found_again(broker: Mosquitto, board: Board, tmp_path: Path) -> None:
    """A broker that takes connections and answers nothing holds up neither the picture nor the return."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
        broker.freeze()
        began = time.monotonic()
        board.wait_until_it_shows(levels(0))
        assert time.monotonic() - began < SILENT_S + 3
        board.wait_for("no broker", 30)
        broker.thaw()
        answers(daemon, 2)  # so the bridge has its link, too, and hears what is ordered
        publish(broker.port, *order(1))
        publish(broker.port, *order(2))
        board.wait_until_it_shows(levels(2), within=30)


def test_new_term_of_a_restarted_bridge_is_obeyed_and_the_old_one_refused(
    broker: Mosquitto, board: Board, tmp_path: Path
) -> None:
    """A bridge that was killed comes back under a higher term; whoever still sends under the old one is not heard."""
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
        daemon.process.kill()
        daemon.process.wait(10)
    board.wait_until_it_shows(levels(0))
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        daemon.wait_for("under term 512")
        answers(daemon)
        publish(broker.port, FRAMES, encode(0, 256, 2**20, levels(7)))
        publish(broker.port, FRAMES, encode(0, 511, 2**20, levels(7)))
        for state in (1, 2):
            publish(broker.port, *order(state))
        board.wait_until_it_shows(levels(2))
    assert levels(7) not in [picture.levels for picture in board.pictures()]


def test_four_fixtures_are_inserted_while_the_board_runs(
    broker: Mosquitto, board: Board, tmp_path: Path
) -> None:
    """Longer frames are shown as they come, with the settings from before.

    The picture for silence is of the layout from before, and would light the wrong lamps: so the chain goes dark then,
    and the board says why.
    """
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
    with running(tmp_path, INSERTED, broker.port) as daemon:
        answers(daemon)
        for state in (1, 2, 3):
            publish(broker.port, *order(state))
        board.wait_until_it_shows(bytes(4 * 3) + levels(3))
        daemon.process.kill()
        daemon.process.wait(10)
    board.wait_until_it_shows(bytes(4 * 3 + len(levels(0))))
    figures = "lamproom/node/vale/figures"
    wait(lambda: kept(broker.port, figures).get("outdated") == ["main"], lambda: board.output, within=30)

    # And back again: what hung behind a chain that is shorter now goes dark.
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        publish(broker.port, *order(1))
        publish(broker.port, *order(2))
        board.wait_until_it_shows(levels(2) + bytes(4 * 3))


def test_silence_shows_the_restrictive_picture_and_a_chain_of_lights_holds_if_told_to(
    broker: Mosquitto, tmp_path: Path
) -> None:
    """Two seconds after the last frame of a killed bridge signals are restrictive, and the lane of houses stays lit."""
    folder = board_folder(
        tmp_path,
        LAYOUT,
        "town",
        broker.port,
        Wishes(hold=frozenset({"lane"}), pins={"street": 4, "lane": 5}),
        silent_after_s=SILENT_S,
    )
    with switched_on(folder) as board:
        with running(tmp_path, LAYOUT, broker.port) as daemon:
            daemon.wait_for("node town answers")
            for number in (70, 71, 72):
                publish(broker.port, f"layout/accessory/{number}/ordered", "reverse")
            board.wait_until_it_shows(bytes.fromhex("ff0000 ff0000"), 4)
            board.wait_until_it_shows(bytes.fromhex("ff0000"), 5)
            daemon.process.kill()
            daemon.process.wait(10)
        began = time.monotonic()
        board.wait_until_it_shows(bytes.fromhex("000000 00ff00"), 4)
        took = time.monotonic() - began
        assert bytes.fromhex("ff0000") == board.shows(5)
    # The last frame, a keep-alive perhaps, came up to a second before.
    assert SILENT_S - 1.2 < took < SILENT_S + 2


def test_ten_thousand_frames_leave_memory_as_it_was(broker: Mosquitto, board: Board, tmp_path: Path) -> None:
    """A frame makes no object at all, and what a report makes is gone after the next."""
    with running(tmp_path, LAYOUT, broker.port) as daemon, RawClient(broker.port, "orders") as orders:
        answers(daemon)
        orders.subscribe(f"lamproom/shown/{CHAIN}")
        for state in range(1, 10_001):
            orders.publish(*order(state))
            orders.read()
        last = levels(10_000)
        board.wait_until_it_shows(last)
    used = [picture.used for picture in board.pictures()[1:]]
    grown = [after - before for before, after in pairwise(used)]
    assert len(used) >= 10_000
    assert sum(step == 0 for step in grown) > 0.99 * len(grown)
    assert max(used[1000:]) < used[999] + 16_384
    assert "Traceback" not in board.output


def test_messages_that_are_no_frames_change_nothing(broker: Mosquitto, board: Board, tmp_path: Path) -> None:
    """Other formats, cut frames, parts of chips, what is far too long and kept copies: all counted, none shown."""
    good = levels(5)
    unfit = [
        b"",
        b"\x01",
        bytes(12),
        encode(0, 900, 1, b""),
        encode(0, 900, 1, good[:-1]),
        b"\x02" + encode(0, 900, 1, good)[1:],
        encode(0, 900, 1, bytes(3000)),
        bytes(range(256)) * 2000,
    ]
    with running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        for message in unfit:
            publish(broker.port, FRAMES, message)
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
        figures = "lamproom/node/vale/figures"
        wait(lambda: kept(broker.port, figures)["unfit"] == len(unfit), lambda: board.output, within=30)
    assert good not in [picture.levels for picture in board.pictures()]
    assert {len(levels(0))} == {len(picture.levels) for picture in board.pictures()}


def test_pictures_of_a_lamp_test_may_have_any_length_that_there_is_room_for(
    broker: Mosquitto, board: Board
) -> None:
    """Chips that the settings do not know are lit without making an object, and the picture for silence stays valid."""
    board.wait_for("the broker is there")
    own = levels(3)
    with RawClient(broker.port, "bridge") as bridge:
        bridge.subscribe(f"lamproom/shown/{CHAIN}")

        def show(sequence: int, picture: bytes, flags: int = 0) -> None:
            bridge.publish(FRAMES, encode(flags, 900, sequence, picture))
            assert b"900 %d" % sequence == bridge.read().payload

        show(1, own)
        for sequence in range(2, 302):
            show(sequence, own + bytes([sequence % 256] * (1 + sequence % 11)), LAMP_TEST)
        bridge.publish(FRAMES, encode(LAMP_TEST, 900, 400, bytes(3000)))  # there is no room for it
        bridge.publish(FRAMES, encode(0, 900, 401, own + b"\x01"))  # a part of a chip, and no test
        show(402, own)
        board.wait_until_it_shows(own + bytes(11))
        show(403, own[:3], LAMP_TEST)
    shown = [picture.levels for picture in board.pictures()]
    assert own + bytes([300 - 256] * 4) + bytes(7) in shown
    assert own + b"\x01" + bytes(10) not in shown
    used = [picture.used for picture in board.pictures()[5:300]]
    assert sum(after == before for before, after in pairwise(used)) > 0.97 * len(used)
    # Whoever tested is gone: what comes back is the picture, and not darkness as behind frames of another layout.
    board.wait_until_it_shows(levels(0) + bytes(11))
    assert "Traceback" not in board.output


def test_kept_copy_of_a_frame_is_not_shown(broker: Mosquitto, tmp_path: Path) -> None:
    """A frame that somebody published retained may be of any age: a board that comes later takes no notice."""
    publish(broker.port, FRAMES, encode(0, 900, 1, levels(5)), "-r")
    folder = board_folder(tmp_path, LAYOUT, "vale", broker.port)
    with switched_on(folder) as board, running(tmp_path, LAYOUT, broker.port) as daemon:
        answers(daemon)
        publish(broker.port, *order(1))
        board.wait_until_it_shows(levels(1))
    assert levels(5) not in [picture.levels for picture in board.pictures()]


def test_board_that_was_swapped_is_told_of(broker: Mosquitto, tmp_path: Path) -> None:
    """Another board with the settings of the node: it gets the whole picture at once, and its owner is told to look.

    The bridge knows the old one from before its restart. A computer's MicroPython has no number of its chip, so a
    module in the folder stands in for the board's own.
    """
    text = "node vale is a new board, e66102 in place of e66101: look whether its pins, chains and supply"
    for number in (1, 2):
        (tmp_path / f"place-{number}").mkdir()
        folder = board_folder(tmp_path / f"place-{number}", LAYOUT, "vale", broker.port)
        (folder / "machine.py").write_text(f'def unique_id():\n    return b"\\xe6\\x61\\x0{number}"\n')
        with (
            switched_on(folder) as board,
            running(tmp_path, LAYOUT, broker.port, "--page", "127.0.0.1:0") as daemon,
        ):
            answers(daemon)
            assert f"e6610{number}" == kept(broker.port, NODE)["board"]
            publish(broker.port, *order(1))
            board.wait_until_it_shows(levels(1))
            assert (number == 2) is (text in daemon.output)
            assert daemon.output.count("is a new board") < 2
    assert "Traceback" not in daemon.output


def test_board_says_what_it_is_and_its_last_will_says_that_it_is_gone(
    broker: Mosquitto, tmp_path: Path
) -> None:
    """It announces itself with what it did so far; when its power goes, the broker keeps that it is gone."""
    with switched_on(board_folder(tmp_path, LAYOUT, "vale", broker.port)) as board:
        board.wait_for("the broker is there")
        said = kept(broker.port, NODE)
        assert {"state": "here", "term": 0, "frames": 0, "drops": 0} == {
            key: said[key] for key in ("state", "term", "frames", "drops")
        }
        assert {"uptime", "unfit", "old", "links", "free"} <= set(said)
    wait(lambda: {"state": "gone"} == kept(broker.port, NODE), lambda: str(kept(broker.port, NODE)))
