"""Cutting a session to the few events that lead to a wrong aspect."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import SECOND, Event
from bridge.record.case_text import case_text
from bridge.record.cases import Case, judge, wish
from bridge.record.keep import Kept, Wrong, keep, kept_lines
from tests.support.driving import layout as layout_of
from tests.support.kept import (
    FAULTS,
    LOST,
    SOUND,
    Fault,
    ordered,
    pressed,
    recorded,
    timed,
    write_log,
)
from tests.support.tree import ROOT

LOCK: Final = "a lock that is not kept long enough"
BY_ITSELF: Final = {name: fault for name, fault in FAULTS.items() if name != LOCK}


def cut(path: Path, fault: Fault, since: int, *because: int, sound: str = "") -> Kept:
    """Keep a fault; with a sound layout file it is mended already."""
    wrong = Wrong(fault.device, fault.should, fault.showed, since, because=because)
    return keep(path, wrong, present=layout_of(sound) if sound else None)


def shown(text: str, case: Case, events: tuple[Event, ...]) -> tuple[str, str]:
    """Return what the device of a case shows, and why, by the engine that lights the lamps."""
    engine = Engine(layout_of(text))
    engine.start()
    for event in events:
        engine.handle(event)
    engine.advance(case.look)
    choice = engine.choices()[case.device]
    return choice.aspect, choice.reason


def minimal(text: str, case: Case) -> bool:
    """Whether the fault is there, and gone without any single event."""
    found = case.showed, case.because
    fewer = [(*case.events[:index], *case.events[index + 1 :]) for index in range(len(case.events))]
    return found == shown(text, case, case.events) and all(found != shown(text, case, each) for each in fewer)


@pytest.mark.parametrize("name", BY_ITSELF)
def test_a_planted_fault_is_cut_to_a_few_events(name: str, tmp_path: Path) -> None:
    """Of 1,000 events and a fault no more is left than it takes; it fails before the mend and passes after it."""
    fault = FAULTS[name]
    since = recorded(tmp_path / "log.jsonl", fault, before=1000)
    kept = cut(tmp_path / "log.jsonl", fault, since)
    assert 1 <= len(kept.case.events) <= fault.most
    assert minimal(fault.text, kept.case)
    assert f"{fault.device} should {wish(fault.should)} and shows {fault.showed} again: " in judge(
        layout_of(fault.text), kept.case
    )
    assert "" == judge(layout_of(SOUND), kept.case)


@settings(deadline=None, max_examples=40)  # each example writes and reads a file
@given(
    name=st.sampled_from(sorted(FAULTS)),
    before=st.integers(0, 120),
    seed=st.integers(0, 10**6),
    mended=st.booleans(),
)
def test_what_is_kept_is_1_minimal(
    tmp_path_factory: pytest.TempPathFactory, name: str, before: int, seed: int, *, mended: bool
) -> None:
    """Whatever else happened: the fault is there, and without any one event it is not, or a mended file has it too."""
    path = tmp_path_factory.mktemp("log") / "log.jsonl"
    fault = FAULTS[name]
    since = recorded(path, fault, before=before, seed=seed)
    case = cut(path, fault, since, sound=SOUND if mended else "").case
    assert (case.showed, case.because) == shown(fault.text, case, case.events)
    if not mended:
        assert minimal(fault.text, case)
        return
    assert "" == judge(layout_of(SOUND), case)
    for index in range(len(case.events)):
        fewer = replace(case, events=(*case.events[:index], *case.events[index + 1 :]))
        gone = (case.showed, case.because) != shown(fault.text, case, fewer.events)
        assert gone or judge(layout_of(SOUND), fewer)


@pytest.mark.parametrize("way", ["named", "mended"])
def test_what_should_have_prevented_it_is_kept_with_all_that_it_needs(way: str, tmp_path: Path) -> None:
    """A lock that is gone too soon needs the train that set it: as events that are named, or by the mended file."""
    fault = FAULTS[LOCK]
    path = tmp_path / "log.jsonl"
    since = recorded(path, fault, before=200)
    # 200 events of noise, four to wake up, a turnout; then the signal is cleared, a train comes, it is put back.
    kept = cut(path, fault, since, 206, 207, 208) if way == "named" else cut(path, fault, since, sound=SOUND)
    assert len(kept.case.events) <= 10
    assert judge(layout_of(fault.text), kept.case)
    assert "" == judge(layout_of(SOUND), kept.case)
    alone = cut(path, fault, since)
    assert judge(layout_of(SOUND), alone.case)
    assert "name with --because" in "\n".join(kept_lines(alone))


def test_waits_are_as_plain_as_a_mended_file_lets_them_be(tmp_path: Path) -> None:
    """With a mended file to judge by waits are cut to seconds; without one they stay, as long as they are no hours."""
    fault = FAULTS["a filter that is too short"]
    script = [*fault.script]
    script[1] = (2 * 3600.123456789, script[1][1])
    path = tmp_path / "log.jsonl"
    since = recorded(path, replace(fault, script=tuple(script)))
    after = [0, 2 * SECOND, 4 * SECOND]
    mended = cut(path, fault, since, sound=SOUND).case
    assert after == [*(event.at for event in mended.events), mended.look]
    alone = cut(path, fault, since).case
    assert [0, 600 * SECOND, 602 * SECOND] == [*(event.at for event in alone.events), alone.look]


def test_a_case_is_the_same_in_every_run(tmp_path: Path) -> None:
    """The same log gives the same case, byte for byte, under any hash seed."""
    fault = FAULTS["a section that is left out"]
    path = tmp_path / "log.jsonl"
    since = recorded(path, fault, before=150)
    program = (
        "import sys; from pathlib import Path; from bridge.record.keep import Wrong, keep; "
        "from bridge.record.case_text import case_text; "
        "sys.stdout.write(case_text(keep(Path(sys.argv[1]), Wrong('W', 'stop', 'clear', int(sys.argv[2]))).case))"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", program, path, str(since)],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        ).stdout
        for seed in ("0", "1", "4294967295")
    }
    assert {case_text(cut(path, fault, since).case)} == found


# What is said of a session, and does not hold.

QUIET: Final = (
    (5, ordered(61, "normal")),
    (5, ordered(62, "reverse")),
    (5, ordered(61, "reverse")),
    (5, LOST),
)


def quiet(path: Path) -> Path:
    """Write a short session: T1 shows stop, then clear, then approach, then stop."""
    write_log(path, SOUND, timed([*QUIET]), 30 * SECOND)
    return path


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (Wrong("T9", "stop"), "no device is called 'T9'; use one of: T1, T2, "),
        (
            Wrong("T1", "claer"),
            "T1 never shows 'claer'; use one of: stop, restricting, approach, clear, dark; did you mean clear",
        ),
        (Wrong("kiln", "not red"), "kiln never shows 'red'; use one of: off, on"),
        (
            Wrong("T1", "stop"),
            r"several aspects that are not stop \(clear from 0:00:10.000; approach from 0:00:15.000\)",
        ),
        (
            Wrong("T1", "clear", since=11 * SECOND, until=12 * SECOND),
            r"nothing but what it should \(show clear\): it showed ",
        ),
        (
            Wrong("T1", "stop", "approach", until=12 * SECOND),
            "T1 never showed approach: it showed stop and clear",
        ),
        (
            Wrong("T1", "stop", since=31 * SECOND),
            "the session ended before that, at 0:00:30.000; look at --from",
        ),
        (Wrong("T1", "stop", since=9 * SECOND, until=8 * SECOND), "--to has to be later"),
        (Wrong("T1", "stop", until=8 * SECOND, because=(2,)), "--to has to be later"),
        (Wrong("T1", "stop", because=(9,)), "there is no event #9: the last one has the number 4"),
    ],
)
def test_what_does_not_hold_is_told(wrong: Wrong, message: str, tmp_path: Path) -> None:
    """The message names what there is."""
    with pytest.raises(DecodeError, match=message):
        keep(quiet(tmp_path / "log.jsonl"), wrong)


def test_nothing_that_happened_is_asked_for(tmp_path: Path) -> None:
    """What a device shows from the start on cannot be blamed on events: those that came are offered, to name one."""
    path = tmp_path / "log.jsonl"
    write_log(path, SOUND, timed([(5, pressed("bell")), (5, ordered(99, "reverse"))]), 20 * SECOND)
    wrong = Wrong("K", "clear", since=12 * SECOND)
    with pytest.raises(
        DecodeError, match=r"name it with --because.* #2 at 0:00:10.000: accessory 99 was ordered rev"
    ):
        keep(path, wrong)
    case = keep(path, replace(wrong, because=(2,))).case
    assert (1, "stop") == (len(case.events), case.showed)
    assert "" == judge(layout_of(SOUND.replace("74: {normal", "99: {normal")), case)


def test_an_aspect_that_stays_too_long_is_looked_at_when_it_was_seen(tmp_path: Path) -> None:
    """What was right at first is wrong later: the case looks when its owner looked."""
    path = tmp_path / "log.jsonl"
    write_log(path, FAULTS["a run that is too long"].text, timed([(3, pressed("wharf"))]), 90 * SECOND)
    case = keep(path, Wrong("wharf", "off", since=40 * SECOND)).case
    assert ([0], 37 * SECOND) == ([event.at for event in case.events], case.look)


def test_a_log_with_a_hole_is_told_of(tmp_path: Path) -> None:
    """A line that cannot be read is named: something may be missing that led to it."""
    path = tmp_path / "log.jsonl"
    quiet(path)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:2], b"no line\n", *lines[2:]]))
    assert "note: line 3 of log.jsonl: something is missing there" in kept_lines(
        keep(path, Wrong("T1", "stop", "clear"))
    )


def test_the_middle_of_a_session_is_refused(tmp_path: Path) -> None:
    """A later file of a session does not hold what led to it, and says which does."""
    path = tmp_path / "log-2.jsonl"
    quiet(path)
    header, *rest = path.read_text().splitlines(keepends=True)
    path.write_text(header.rstrip().removesuffix("}") + ',"piece":2,"before":"log.jsonl"}\n' + "".join(rest))
    with pytest.raises(DecodeError, match=r"began in log.jsonl: name the first file"):
        keep(path, Wrong("T1", "stop", "clear"))


def test_a_lost_source_is_an_event(tmp_path: Path) -> None:
    """What the bridge itself noticed is cut and kept like what came in."""
    case = keep(quiet(tmp_path / "log.jsonl"), Wrong("T1", "clear", since=20 * SECOND)).case
    assert "panel was lost, and nothing was ordered since" == case.because
    assert "by: panel, source: lost, why: it said goodbye}" in case_text(case)
    assert len(case.events) <= len(QUIET)
