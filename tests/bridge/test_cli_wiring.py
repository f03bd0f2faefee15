"""The commands for what changes at the layout, as their owner meets them."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.support import program
from tests.support.as_built import YARD


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A layout file with plans and dead chips."""
    file = tmp_path / "layout.yaml"
    file.write_text(YARD)
    return file


def lamproom(*words: str) -> tuple[int, str, str]:
    """Run the program to its end, with nobody to ask; return its status, output and errors."""
    done = program.lamproom(*words)
    return done.returncode, done.stdout, done.stderr


def at_a_terminal(answer: str, *words: str) -> tuple[int, str]:
    """Run the program at a terminal where somebody answers; return its status and all that stood there."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", program.START, *words], stdin=theirs, stdout=theirs, stderr=theirs
    )
    os.close(theirs)
    seen = bytearray()

    def read() -> None:
        answered = False
        while True:
            try:
                seen.extend(os.read(ours, 4096))
            except OSError:  # the other end was closed
                return
            if not answered and b"[y/N]" in seen:
                answered = True
                os.write(ours, answer.encode())

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    try:
        status = process.wait(60)
        reader.join(10)
    finally:
        process.kill()
        os.close(ours)
    return status, seen.decode()


def test_check_counts_what_is_built_and_what_is_planned(file: Path) -> None:
    """Both counts stand in the last line, with what is out of use until the plan is built."""
    status, told, _errors = lamproom("check", str(file))
    assert 0 == status
    last = told.splitlines()[-1].removeprefix(f"{file}: ")
    assert (
        "no errors; 8 signals and 1 light, 7 chips on 1 chain; "
        "once what is planned is built: 9 chips on 2 chains; out of use until then: P, F"
    ) == last


def test_nothing_is_written_before_it_is_told(file: Path) -> None:
    """The lines that would change are shown, with a caution since no lamp is lit; the file stays as it is."""
    status, told, _errors = lamproom("built", str(file), "tarn/yard", "--untested")
    assert 1 == status
    assert "-          - {name: P, build: mast, planned: true}\n+          - {name: P, build: mast}\n" in told
    assert told.startswith("no lamp is lit now: look at each of them before you rely on it")
    assert told.endswith(f"nothing was written; {file} is as it was\n")
    assert YARD == file.read_text()


def test_built_is_written_with_the_old_file_aside(file: Path) -> None:
    """Of a planned chain its own line goes, and the owner learns what is left to do."""
    status, told, _errors = lamproom("built", str(file), "hill/line", "--untested", "--write")
    assert 0 == status
    assert YARD.replace("{name: line, planned: true, ", "{name: line, ") == file.read_text()
    assert YARD == file.with_name("layout.yaml.before").read_text()
    assert "a bridge that runs with it goes on as before: restart it to take up the change\n" in told
    assert f"`lamproom node {file} hill --to DIRECTORY`" in told


def test_some_fixtures_of_a_planned_chain_become_built(file: Path) -> None:
    """The others are marked one by one, so that they stay planned."""
    text = YARD.replace("[{name: F, build: mast}]", "[{name: F, build: mast}, {name: G, build: mast}]")
    file.write_text(text)
    assert 0 == lamproom("built", str(file), "hill/line", "F", "--untested", "--write")[0]
    chain = "{name: line, fixtures: [{name: F, build: mast}, {name: G, build: mast, planned: true}]}"
    assert (
        text.replace(
            "{name: line, planned: true, fixtures: [{name: F, build: mast}, {name: G, build: mast}]}", chain
        )
        == file.read_text()
    )


def test_a_chip_goes_from_one_state_to_the_next_in_one_step(file: Path) -> None:
    """Broken, bypassed and whole again, the file is at last what it would be if nothing had ever died."""
    one = str(file)
    assert 0 == lamproom("chip", one, "C:1", "whole", "--write")[0]
    assert 0 == lamproom("chip", one, "C:2", "broken", "--write")[0]
    assert "{name: C, build: pair, broken: 2}" in file.read_text()
    assert 0 == lamproom("chip", one, "C:1", "broken", "--write")[0]
    assert "{name: C, build: pair, broken: [1, 2]}" in file.read_text()
    assert 0 == lamproom("chip", one, "C:2", "bypassed", "--write")[0]
    assert "{name: C, build: pair, broken: 1, bypassed: 2}" in file.read_text()
    for which in ("C:1", "C:2", "D"):
        assert 0 == lamproom("chip", one, which, "whole", "--write")[0]
    assert YARD.replace(", bypassed: 1", "").replace(", broken: 1", "") == file.read_text()
    assert (0, f"{file} says already that D is whole: nothing to change\n", "") == lamproom(
        "chip", one, "D", "whole", "--write"
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ("built", "tarn/yrd"),
            "no chain is called 'tarn/yrd'; use one of: tarn/yard, hill/line; did you mean tarn/yard?",
        ),
        (("built", "tarn/yard", "A"), "A counts as built already; planned on tarn/yard: P"),
        (("built", "tarn/yard", "X"), "no fixture 'X' is planned on tarn/yard; there is only P"),
        (("chip", "C", "broken"), "C has 2 chips: say which, such as C:1 for the one nearest to the node"),
        (("chip", "C:3", "broken"), "C has no chip 3: its build has 2"),
        (("chip", "C:x", "broken"), "C:x: the number of a chip stands behind the colon, such as C:1"),
        (("chip", "A", "dead"), "no chip is 'dead'; use one of: broken, bypassed, whole"),
        (
            ("wiring", "tarn/yrd"),
            "no chain is called 'tarn/yrd'; there is only tarn/yard; did you mean tarn/yard?",
        ),
        (
            ("wiring", "hill/line"),
            "nothing on hill/line counts as built yet: with --planned it is looked at as it will be",
        ),
        (("wiring", "tarn/yard", "--for", "0"), "--for 0: write a number of seconds from 1 to 3600"),
        (
            ("chip", "P", "broken"),
            "the change would make an error: line 18: P is planned, so it has no chip yet that could be broken",
        ),
    ],
)
def test_what_does_not_fit_is_one_line(file: Path, words: tuple[str, ...], told: str) -> None:
    """The message says what there is instead, and the file stays as it is."""
    command, *others = words
    assert (2, "", f"lamproom: {told}\n") == lamproom(command, str(file), *others, "--write")
    assert YARD == file.read_text()


def test_a_file_with_errors_is_left_alone(file: Path) -> None:
    """Nobody can say what a change would come to there; the first error is told."""
    file.write_text(YARD.replace("build: house", "build: hose"))
    status, _told, errors = lamproom("built", str(file), "tarn/yard", "--write")
    assert 2 == status
    assert errors.startswith("lamproom: the file has errors, and is left as it is until they are mended: ")
    assert "no build is called 'hose'" in errors


@pytest.mark.parametrize(
    ("answer", "status", "word"), [("y\n", 0, "is written"), ("n\n", 1, "nothing was written")]
)
def test_whoever_sits_at_a_terminal_is_asked(file: Path, answer: str, status: int, word: str) -> None:
    """A yes writes it, anything else does not."""
    done, seen = at_a_terminal(answer, "built", str(file), "tarn/yard", "--untested")
    assert status == done, seen
    assert "Is all of this soldered, looked at and in order?" in seen
    assert word in seen
    assert (status == 0) == (YARD != file.read_text())
