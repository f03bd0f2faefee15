"""A pretend owner at the real terminal, before a chain that is soldered otherwise than the file says.

Broker, bridge and commands are real. The owner looks at what the node was told to show, sends it through the chain as
it was really soldered, and types what is to be seen.
"""

from __future__ import annotations

import re
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from adapters.outputs.frame import LAMP_TEST
from bridge.check import check_text
from bridge.layout.model import Chain
from tests.support.board import Board, board_folder, switched_on
from tests.support.daemon import running
from tests.support.miswirings import text_of
from tests.support.mosquitto import Mosquitto
from tests.support.pretend_owner import Owner, RealChain, as_filed, resolder
from tests.support.raw_mqtt import RawClient
from tests.support.raw_node import RawNode
from tests.support.terminal import Terminal, at_terminal
from tests.support.waiting import wait

CHAIN = "tarn/yard"
FILED = (
    text_of(("three-lamp",) * 5 + ("pixel",) * 3)
    .replace("- {name: T4, build: three-lamp}", "- {name: T4, build: three-lamp}   # behind the goods shed")
    .replace("- {name: T7, build: pixel}", "- {build: pixel, name: T7} # the mill")
    + """\
signals:
  T1: {commands: {61: {normal: stop, reverse: clear}}}
  T4: {commands: {64: {normal: stop, reverse: clear}}}
"""
)
ASKS = "What do you see?"


def chain_in(text: str, *, planned: bool = False) -> Chain:
    checked = check_text(text)
    layout = checked.planned if planned else checked.layout
    assert layout is not None, [each.line("it") for each in checked.findings]
    return next(chain for chain in layout.chains if chain.key == CHAIN)


def miswired() -> RealChain:
    """T4 with two leads exchanged, T7 of a reel that takes red first, T2 and T6 in each other's places."""
    real = as_filed(chain_in(FILED))
    real.chips[3] = resolder(real.chips[3], [0, 2, 1])
    real.chips[6] = resolder(real.chips[6], [1, 0, 2])
    real.chips[1], real.chips[5] = real.chips[5], real.chips[1]
    return real


@pytest.fixture
def asked(broker: Mosquitto) -> Iterator[RawClient]:
    """Whoever hears what pictures the command asks for."""
    with RawClient(broker.port, "beside") as client:
        client.subscribe(f"layout/lamp-test/picture/{CHAIN}")
        yield client


def picture_of(asked: RawClient) -> bytes:
    """Return the next picture that is asked for."""
    return bytes.fromhex(asked.read().payload.decode().split()[0])


def on_board(board: Board) -> Callable[[bytes], bytes]:
    """Return how to look at what a board's data line was told to show, once the picture is there."""

    def look(picture: bytes) -> bytes:
        # What was lit behind the picture before, when one was longer, goes dark.
        wait(lambda: (board.shows() or b"").rstrip(b"\0") == picture.rstrip(b"\0"), lambda: board.output)
        return board.shows() or b""

    return look


def on_node(node: RawNode) -> Callable[[bytes], bytes]:
    """Return the same for a node that reads its frames one by one."""

    def look(picture: bytes) -> bytes:
        while True:
            frame = node.show()
            if frame.header.flags & LAMP_TEST and frame.levels == picture:
                return frame.levels

    return look


def answer_all(owner: Owner, terminal: Terminal, asked: RawClient, look: Callable[[bytes], bytes]) -> int:
    """Answer until the lamps are given back; return how many answers it took."""
    answers = 0
    while ASKS in terminal.until(ASKS, "the lamp test was ended"):
        terminal.type(owner.answer_to(look(picture_of(asked))))
        answers += 1
    return answers


def test_the_finder_finds_it_writes_it_and_has_nothing_to_say_the_next_time(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """A running bridge and a board with our program: three faults, one diff, remarks kept, and then none."""
    owner = Owner(miswired())
    with (
        switched_on(board_folder(tmp_path, FILED, "tarn", broker.port)) as board,
        running(tmp_path, FILED, broker.port) as daemon,
    ):
        daemon.wait_for("node tarn answers")
        command = "wiring", str(daemon.file), CHAIN
        with at_terminal(*command, "--write", port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("tarn/yard: T1, T4 will show false aspects, for up to 300 s. Begin? y or n")
            terminal.type("y")
            assert answer_all(owner, terminal, asked, on_board(board)) < chain_in(FILED).length
            assert 0 == terminal.ended()
        assert "no bridge drives this layout here" not in terminal.text
        assert "- T2 and T6 stand in each other's places\n" in terminal.text
        assert "- T4: its green and yellow LEDs are exchanged\n" in terminal.text
        assert "- T7 takes its bytes in the order RGB, and the file has GRB\n" in terminal.text
        assert (
            "+          - {name: T4, build: three-lamp, order: RBG}   # behind the goods shed\n"
            in terminal.text
        )
        assert "a bridge that runs with it goes on as before: restart it" in terminal.text
        text = daemon.file.read_text(encoding="utf-8")
        assert "- {build: pixel, name: T7, order: RGB} # the mill\n" in text
        assert FILED == daemon.file.with_name("layout.yaml.before").read_text(encoding="utf-8")
        length = chain_in(text).length
        assert miswired().answers(length, coloured=True) == as_filed(chain_in(text)).answers(
            length, coloured=True
        )
        # The bridge that runs has the old file still: for pictures that makes no difference.
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("Begin? y or n")
            terminal.type("y")
            answer_all(owner, terminal, asked, on_board(board))
            assert 0 == terminal.ended()
        assert "tarn/yard is wired as the file has it.\n" in terminal.text
        assert text == daemon.file.read_text(encoding="utf-8")
    assert "Traceback" not in board.output + daemon.output + terminal.text


def test_without_colours_and_without_a_bridge_places_are_found(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """One bridge runs for as long; what colours alone could tell is said to be open; only a yes writes."""
    file = tmp_path / "layout.yaml"
    file.write_text(FILED, encoding="utf-8")
    owner = Owner(miswired(), coloured=False)
    with RawNode(broker.port, "tarn", "yard") as node:
        node.announce()
        command = "wiring", str(file), CHAIN, "--without-colours"
        for word, status in (("n", 1), ("y", 0)):
            with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
                terminal.until("no bridge drives this layout here")
                terminal.until("Begin? y or n")
                terminal.type("y")
                answer_all(owner, terminal, asked, on_node(node))
                terminal.until("Shall it be written? y or n")
                assert FILED == file.read_text(encoding="utf-8")
                terminal.type(word)
                assert status == terminal.ended()
            assert "green" not in terminal.text.split("Question 1;")[1].split("---")[0]
            assert "- T4: its top and middle LEDs are exchanged\n" in terminal.text
            assert "cannot be told without colours" in terminal.text
    text = file.read_text(encoding="utf-8")
    assert "- {name: T4, build: three-lamp, order: RBG}   # behind the goods shed\n" in text
    assert text.index("name: T6") < text.index("name: T3") < text.index("name: T2")


def test_whoever_leaves_gets_the_lamps_back_and_nothing_is_written(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """By q with what is known so far, by Ctrl-C at once, and by not confirming; each time nothing is written."""
    owner = Owner(miswired())
    with running(tmp_path, FILED, broker.port) as daemon, RawNode(broker.port, "tarn", "yard") as node:
        node.announce()
        own = node.show().levels
        command = "wiring", str(daemon.file), CHAIN, "--one-at-a-time"
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("Begin? y or n")
            terminal.type("perhaps")
            terminal.until("y is yes, n is no")
            terminal.type("y")
            terminal.until(ASKS)
            terminal.type(owner.answer_to(on_node(node)(picture_of(asked))))
            terminal.until(ASKS)
            terminal.type("q")
            terminal.until("the lamp test was ended: its lamps show what the layout says again")
            terminal.until("not found out yet: ")
            assert 1 == terminal.ended()
        while node.show().levels != own:
            pass
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("Begin? y or n")
            terminal.type("y")
            terminal.until(ASKS)
            terminal.process.send_signal(signal.SIGINT)
            terminal.until("ended before it was found out; nothing was written")
            assert 1 == terminal.ended()
        while node.show().levels != own:
            pass
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("Begin? y or n")
            terminal.type("n")
            assert 1 == terminal.ended()
        assert FILED == daemon.file.read_text(encoding="utf-8")
        assert daemon.output.count("was ended") >= 2


def test_the_time_is_begun_anew_by_answers_and_over_without(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """Answers go on for longer than the limit; silence gives the lamps back, and it goes on if confirmed."""
    owner = Owner(miswired())
    with running(tmp_path, FILED, broker.port) as daemon, RawNode(broker.port, "tarn", "yard") as node:
        node.announce()
        command = "wiring", str(daemon.file), CHAIN, "--one-at-a-time", "--for", "2"
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("for up to 2 s. Begin? y or n")
            terminal.type("y")
            look, began, until = on_node(node), 0.0, 0.0
            while until - began < 4:
                terminal.until(ASKS)
                picture = look(picture_of(asked))
                until = node.show(2).at  # a keep-alive comes after a second at the latest
                began = began or until
                terminal.type(owner.answer_to(picture))
            assert "the time of the lamp test is over" not in terminal.text
            terminal.until(ASKS)
            look(picture_of(asked))
            terminal.until("the time of the lamp test is over")
            terminal.until("Enter goes on with the question, q ends here")
            terminal.type("")
            terminal.until("Begin? y or n")
            terminal.type("y")
            terminal.until(ASKS)
            terminal.type("q")
            assert 1 == terminal.ended()


# ---- what was planned ------------------------------------------------------------------------------------------

PLANNED = FILED.replace(
    "- {name: T2, build: three-lamp}", "- {name: T2, build: three-lamp, planned: true} # new"
).replace("- {name: T6, build: pixel}", "- {name: T6, build: pixel, planned: true}")
NEW = frozenset({"T2", "T6"})
LOOKED_AT = re.compile(r"Is the lamp (?P<lamp>.+) of (?P<name>.+) lit(?: in (?P<colour>\w+))?,")


def yes_or_no(real: RealChain, shown: bytes, line: str) -> str:
    """Return what is answered to one question about the new part."""
    seen = {
        light.said(coloured=True) for light in real.lit(shown) if light is not None and light.fixture in NEW
    }
    question = LOOKED_AT.search(line)
    if question is None:
        return "n" if seen else "y"
    wanted = " ".join(word for word in (question["name"], question["lamp"], question["colour"]) if word)
    return "y" if seen == {wanted} else "n"


def look_at_all(
    real: RealChain, terminal: Terminal, asked: RawClient, look: Callable[[bytes], bytes]
) -> list[str]:
    """Answer until the lamps are given back; return the answers."""
    answers = []
    while " y or n" in (line := terminal.until(" y or n", "the lamp test was ended")):
        answers.append(yes_or_no(real, look(picture_of(asked)), line))
        terminal.type(answers[-1])
    return answers


def test_what_is_soldered_rightly_becomes_built_behind_the_last_yes(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """A running bridge lights a longer chain than it knows, on a board with the settings of before."""
    real = as_filed(chain_in(PLANNED, planned=True))
    with (
        switched_on(board_folder(tmp_path, PLANNED, "tarn", broker.port)) as board,
        running(tmp_path, PLANNED, broker.port) as daemon,
    ):
        daemon.wait_for("node tarn answers")
        command = "built", str(daemon.file), CHAIN, "--write"
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("Begin? y or n")
            terminal.type("y")
            assert ["y"] * 7 == look_at_all(real, terminal, asked, on_board(board))
            assert 0 == terminal.ended()
        assert PLANNED.replace(", planned: true", "") == daemon.file.read_text(encoding="utf-8")
        assert "+          - {name: T2, build: three-lamp} # new\n" in terminal.text
    assert "Traceback" not in board.output + daemon.output + terminal.text


def test_what_is_soldered_otherwise_stays_planned_and_the_finder_sees_it(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """The first no ends it with what was wrong; the finder finds it on the chain as it will be; then it is built."""
    real = as_filed(chain_in(PLANNED, planned=True))
    real.chips[1] = resolder(real.chips[1], [0, 2, 1])
    with (
        switched_on(board_folder(tmp_path, PLANNED, "tarn", broker.port)) as board,
        running(tmp_path, PLANNED, broker.port) as daemon,
    ):
        daemon.wait_for("node tarn answers")
        file, look = str(daemon.file), on_board(board)
        with at_terminal(
            "built", file, CHAIN, "--write", port=broker.port, state=tmp_path / "own"
        ) as terminal:
            terminal.until("Begin? y or n")
            terminal.type("y")
            assert ["y", "n"] == look_at_all(real, terminal, asked, look)
            assert 1 == terminal.ended()
        assert "not in order (position 2): Is the lamp green of T2 lit" in terminal.text
        assert f"`lamproom wiring {file} {CHAIN} --planned`" in terminal.text
        assert PLANNED == daemon.file.read_text(encoding="utf-8")
        command = "wiring", file, CHAIN, "--planned", "--write"
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("Begin? y or n")
            terminal.type("y")
            answer_all(Owner(real), terminal, asked, look)
            assert 0 == terminal.ended()
        assert "planned: true, order: RBG} # new\n" in daemon.file.read_text(encoding="utf-8")
        with at_terminal(
            "built", file, CHAIN, "--write", port=broker.port, state=tmp_path / "own"
        ) as terminal:
            terminal.until("Begin? y or n")
            terminal.type("y")
            assert ["y"] * 7 == look_at_all(real, terminal, asked, look)
            assert 0 == terminal.ended()
        assert "planned" not in daemon.file.read_text(encoding="utf-8")
    assert "Traceback" not in board.output + daemon.output + terminal.text


def test_a_chain_that_is_planned_as_a_whole_is_lit_by_a_bridge_of_its_own(
    broker: Mosquitto, asked: RawClient, tmp_path: Path
) -> None:
    """A bridge that runs has no frame for it and is to be ended; then one runs with the file as it would be."""
    shed = "      - {name: shed, fixtures: [{name: S1, build: three-lamp}]}\n"
    text = FILED.replace("      - name: yard\n", f"{shed}      - name: yard\n        planned: true\n")
    real = as_filed(chain_in(text, planned=True))
    command = "built", str(tmp_path / "layout.yaml"), CHAIN, "T1", "T2"
    with RawNode(broker.port, "tarn", "yard") as node:
        with (
            running(tmp_path, text, broker.port) as daemon,
            at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal,
        ):
            assert 2 == terminal.ended()
        assert (
            f"lamproom: the bridge main has no frame for {CHAIN}, of which nothing counts as built yet: "
            "end that bridge, do this again, and start it anew afterwards\n"
        ) in terminal.text
        with at_terminal(*command, port=broker.port, state=tmp_path / "own") as terminal:
            terminal.until("A bridge is started here with the file as it would be.")
            terminal.type("y")
            terminal.until("tarn/yard: T1 will show false aspects, for up to 300 s. Begin? y or n")
            terminal.type("y")
            look = on_node(node)
            while "Shall it" not in (line := terminal.until(" y or n")):
                terminal.type(
                    "n" if len(real.lit(look(picture_of(asked)))) != ("Nothing" not in line) else "y"
                )
            terminal.type("y")
            assert 0 == terminal.ended()
    written = daemon.file.read_text(encoding="utf-8")
    assert ["T1", "T2"] == [fixture.name for fixture in chain_in(written).fixtures if not fixture.planned]
