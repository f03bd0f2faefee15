"""One session under two layout files: which devices differ, from when to when, and why."""

from __future__ import annotations

from itertools import accumulate
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.commands import Decision, Report
from bridge.errors import DecodeError, LayoutError
from bridge.events import SECOND
from bridge.record import compare as compare_room
from bridge.record.compare import compare, comparison_lines
from tests.bridge.record.sessions import LAYOUT, Session, Step, ordered, play, scripts, short_session
from tests.support.demo_day import MINUTE
from tests.support.demo_recording import RecordedDay


def test_the_same_file_shows_the_same(tmp_path: Path) -> None:
    """A file, or one that differs in what was never asked for, shows no difference."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    found = compare(path, LAYOUT, LAYOUT)
    assert (True, 5, 5, ()) == (found.same, found.devices, found.events, found.apart)
    assert found.same
    assert compare(path, LAYOUT, LAYOUT.replace("64: {normal", "65: {normal")).same


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("clear-after: 2 s}", "clear-after: 4500 ms}"),
        ("gates: {start-after: 3 s, lower: 1500 ms,", "gates: {start-after: 5 s, lower: 4 s,"),
        ("clock: 20:00 to 00:30", "clock: 21:00 to 00:10"),
    ],
)
def test_what_differs_is_found_without_light(
    old: str, new: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Filters, gates and hours run out of step: the same stretches as if all the light had been worked out."""
    path = tmp_path / "a.jsonl"
    day = RecordedDay(path, seed=9)
    day.record(3 * MINUTE)
    assert old in day.text
    texts = day.text, day.text.replace(old, new)
    found = compare(path, *texts)
    monkeypatch.setattr(compare_room, "NEVER", None)
    assert compare(path, *texts) == found
    assert found.apart


def test_where_they_differ_is_named_with_its_time_and_cause(tmp_path: Path) -> None:
    """A changed row of commands gives a stretch from the order to the next one, with the event that began it."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(2 * SECOND, ordered(61))
    session.message(5 * SECOND, ordered(61, "normal"))
    session.message(7 * SECOND, ordered(64))
    session.end(9 * SECOND)
    other = LAYOUT.replace("61: {normal: stop, reverse: clear}", "61: {normal: stop, reverse: approach}")
    other = other.replace("64: {normal: stop, reverse: clear}", "65: {normal: stop, reverse: clear}")
    found = compare(path, LAYOUT, other)
    first, second = found.apart
    assert ("M1", 2 * SECOND, 5 * SECOND, "clear", "approach") == (
        first.device,
        first.since,
        first.until,
        first.old,
        first.new,
    )
    assert (1, "accessory 61 was ordered reverse (by bus)") == (first.event, first.cause)
    assert ("H1", 7 * SECOND, 9 * SECOND, "clear", "stop", "old", 3) == (
        second.device,
        second.since,
        second.until,
        second.old,
        second.new,
        second.changed,
        second.event,
    )
    text = "\n".join(comparison_lines(found))
    assert "M1, 0:00:02.000 to 0:00:05.000: clear by the old file, approach by the new one" in text
    assert text.endswith("DIFFERENT: M1 for 0:00:03.000, H1 for 0:00:02.000")
    assert not found.to_data()["same"]


def test_a_device_of_one_file_alone_is_named(tmp_path: Path) -> None:
    """What only one of them has cannot differ, and is told."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    without = LAYOUT.replace("  Lookout: {when: {button: horn}, change: fade 150 ms}\n", "")
    found = compare(path, LAYOUT, without)
    assert (True, 4, ("Lookout",), ()) == (found.same, found.devices, found.only_old, found.only_new)
    assert ("Lookout",) == compare(path, without, LAYOUT).only_new
    assert "only in the old file: Lookout" in comparison_lines(found)


def test_a_damaged_log_is_not_said_to_be_the_same(tmp_path: Path) -> None:
    """Behind the damage nothing is played under either file, so of the rest of the session nothing is known."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]))
    assert compare(path, LAYOUT, LAYOUT).whole  # it was cut off, and has no more
    path.write_bytes(b"".join([*lines[:8], b"?\n", *lines[9:]]))
    found = compare(path, LAYOUT, LAYOUT)
    assert (True, False) == (found.same, found.whole)
    said = "NOT WHOLE: as far as it could be played, no device would have shown anything else"
    assert said == comparison_lines(found)[-1]
    assert (
        "under another layout file no snapshot helps: what comes after that cannot be replayed" in found.notes
    )


def test_a_layout_file_that_cannot_be_driven_is_named(tmp_path: Path) -> None:
    """The message says which of the two it is."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    with pytest.raises(LayoutError, match=r"the new layout file cannot be driven: line \d+: "):
        compare(path, LAYOUT, LAYOUT.replace("build: house", "build: hut", 1))
    with pytest.raises(DecodeError, match="cannot be read"):
        compare(tmp_path / "none.jsonl", LAYOUT, LAYOUT)


CHANGES = (
    ("61: {normal: stop, reverse: clear}", "61: {normal: clear, reverse: stop}"),
    ("63: {normal: stop, reverse: restricting}", "65: {normal: stop, reverse: restricting}"),
    ("{when: {accessory: 70}", "{when: {accessory: 61}"),
    ("when-unknown: off", "when-unknown: on"),
)


@settings(deadline=None, max_examples=60)  # each example writes and reads a file
@given(script=scripts, change=st.sampled_from(CHANGES))
def test_at_every_instant_it_says_what_both_show(
    tmp_path_factory: pytest.TempPathFactory,
    script: list[Step],
    change: tuple[str, str],
) -> None:
    """At each change of either session the stretches tell exactly the devices whose aspects are not the same."""
    folder = tmp_path_factory.mktemp("log")
    other = LAYOUT.replace(*change)
    assert other != LAYOUT
    first, second = Session(folder / "a.jsonl"), Session(folder / "b.jsonl", other)
    play(script, first)
    length = sum(step.gap for step in script) + SECOND
    found = compare(folder / "a.jsonl", LAYOUT, other)
    ats = accumulate(step.gap for step in script)
    for at, step in zip(ats, script, strict=True):
        second.message(at, *step.events)
    second.wake(max(length, second.engine.now))

    def history(session: Session, device: str, at: int) -> str | None:
        said = [
            command.aspect
            for command in session.commands
            if isinstance(command, Decision | Report) and command.device == device and command.at <= at
        ]
        return said[-1] if said else None

    instants = {
        command.at for session in (first, second) for command in session.commands if command.at < length
    }
    for at in sorted(instants):
        for device in ("M1", "M2", "H1", "Boat shed", "Lookout"):
            old, new = history(first, device, at), history(second, device, at)
            stretch = [
                each for each in found.apart if each.device == device and each.since <= at < each.until
            ]
            assert ([] if old == new else [(old, new)]) == [(each.old, each.new) for each in stretch]
