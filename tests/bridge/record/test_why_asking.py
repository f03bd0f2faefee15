"""Asking why: by which names and at what times, of whole logs and of pieces, in words and as data."""

from __future__ import annotations

import json
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest

from adapters.contract import Raw
from bridge.errors import DecodeError
from bridge.events import SECOND, ClockReported, Subject
from bridge.record.store import piece_path
from bridge.record.times import parse_moment
from bridge.record.why import Answer, answer_lines, why
from bridge.record.why.answer import Kind
from tests.bridge.record.sessions import LAYOUT, Session, ordered, short_session
from tests.bridge.record.test_store import pieces_of
from tests.support.driving import NORMAL, REVERSE, order
from tests.support.planted import JUNCTION, MILL_LANE, READY, THROAT, VILLAGE, WELL
from tests.support.program import lamproom
from tests.support.tracks import CLEAR, block, proved, use


def ask(path: Path, device: str, at: str | None = None) -> Answer:
    """Ask, by the clock of Greenwich."""
    return why(path, device, None if at is None else parse_moment(at), zone=UTC)


def recorded(path: Path, text: str, *script: tuple[float, Any]) -> Path:
    """Record a session that ends cleanly a second after the last event."""
    session = Session(path, text)
    at = 0
    for second, event in script:
        at = round(second * SECOND)
        session.run_until(at)
        session.message(at, event, raw=Raw("rail/told", b"so"))
    session.run_until(at + 30 * SECOND)
    session.end(at + 30 * SECOND)
    return path


def test_what_it_showed_since_when_and_what_before(tmp_path: Path) -> None:
    """The answer says it by offset and by the clock on the wall, with the event as it came."""
    path = tmp_path / "a.jsonl"
    short_session(path)
    answer = ask(path, "M1", "+1.5")
    assert ("clear", "stop", SECOND) == (answer.aspect, answer.before, answer.since.at)
    assert "2026-11-25T10:20:01.000+00:00" == answer.since.wall
    [link] = answer.chain.below
    assert link.event is not None
    assert (1, "layout/accessory/61/ordered", "reverse") == (
        link.event.number,
        link.event.channel,
        link.event.raw,
    )
    assert "green" in {lamp.lamp for lamp in answer.lamps if lamp.lit}


def test_a_time_may_be_said_in_every_way(tmp_path: Path) -> None:
    """The clock on the wall, an offset, an event, and the model clock, by which the answer is told as well."""
    clock = ClockReported(at=0, source="bus", seconds=8 * 3600, rate_quarters=240, running=True)
    path = recorded(
        tmp_path / "a.jsonl", VILLAGE, (1, clock), (10, order(61, REVERSE)), (20, order(61, NORMAL))
    )
    for said in ("10:20:15", "+15", "#3", "model 08:14", "2026-11-25 10:20:15"):
        answer = ask(path, "G1", said)
        expected = ("stop", 20 * SECOND) if said == "#3" else ("flashing", 10 * SECOND)
        assert expected == (answer.aspect, answer.since.at), said
        assert answer.when.model
    assert "8:09:00" == ask(path, "G1", "+15").since.model
    assert "" == ask(path, "G1", "+0.5").when.model
    with pytest.raises(DecodeError, match="is no time"):
        ask(path, "G1", "half past three")


def test_a_clean_end_is_no_reason(tmp_path: Path) -> None:
    """Without a time it is about the end of the session, before lamproom put everything to rest."""
    path = recorded(tmp_path / "a.jsonl", VILLAGE, (1, order(61, REVERSE)))
    answer = ask(path, "G1")
    assert ("flashing", SECOND, ()) == (answer.aspect, answer.since.at, answer.notes)
    late = ask(path, "G1", "+1:00:00")
    assert "flashing" == late.aspect
    assert 31 * SECOND == late.when.at
    first, second, *_ = answer_lines(late)
    end = "2026-11-25 10:20:31 (0:00:31.000 after it began)"
    assert f"the log says nothing of 2026-11-25 11:20:00, because it ends at {end}: so it stood then" == first
    assert f"signal G1 at {end}: flashing" == second


def test_a_name_that_is_not_there_gets_the_nearest_ones(tmp_path: Path) -> None:
    """Large and small letters are one; else the names that come near are told, or those that there are."""
    path = recorded(tmp_path / "a.jsonl", VILLAGE, (1, order(61, REVERSE)))
    assert "Church" == ask(path, "church").device
    with pytest.raises(DecodeError, match=r"nothing in Hollow Green is called 'Curch': did you mean Church"):
        ask(path, "Curch")
    with pytest.raises(DecodeError, match="there are G1, Inn, Mill"):
        ask(path, "zzz")
    with pytest.raises(DecodeError, match="turnouts with a lock: none"):
        ask(path, "lock 63")


def test_the_lock_of_a_turnout_is_asked_for(tmp_path: Path) -> None:
    """A lock says by which route it is kept, and goes down to the order."""
    path = recorded(tmp_path / "a.jsonl", JUNCTION, *READY, (9, order(71, REVERSE)))
    answer = ask(path, "lock 63")
    assert ("lock", "locked", "by route to-east from W") == (answer.subject, answer.aspect, answer.reason)
    assert 9 * SECOND == answer.since.at
    assert {(Kind.LOCKED, "W"), (Kind.ORDERED, "71")} <= {(each.kind, each.name) for each in answer.causes}
    assert "free" == ask(path, "lock 63", "+5").aspect
    with pytest.raises(DecodeError, match=r"no route locks the turnout '7'; turnouts with a lock: 63, 66"):
        ask(path, "lock 7")


def test_lamps_that_flash_are_told_as_those_of_a_moment(tmp_path: Path) -> None:
    """A lamp that flashes is dark half the time, and no wire is broken then; one that is stilled is lit."""
    told = (
        (0.5, order(91, NORMAL)),
        (1, order(61, REVERSE)),
        (10, order(91, REVERSE)),
        (20, order(61, NORMAL)),
    )
    path = recorded(tmp_path / "a.jsonl", VILLAGE, *told)
    said = "  these were so at that very moment: it flashes, or plays an effect"
    flashing, stilled, stop = (ask(path, "G1", at) for at in ("+5", "+15", "+25"))
    assert ["flashing", "flashing", "stop"] == [each.aspect for each in (flashing, stilled, stop)]
    assert [True, False, False] == [each.moving for each in (flashing, stilled, stop)]
    assert [True, False, False] == [said in answer_lines(each) for each in (flashing, stilled, stop)]


def test_a_zone_a_crossing_and_what_stills_are_asked_for(tmp_path: Path) -> None:
    """They have a state, a chain and something that would have changed it, as devices do."""
    village = recorded(tmp_path / "a.jsonl", VILLAGE, (5, order(90, REVERSE)), (6, order(91, REVERSE)))
    zone = ask(village, "houses")
    assert ("zone", "0%", 5 * SECOND) == (zone.subject, zone.aspect, zone.since.at)
    assert ("100%", ("accessory 90 were ordered normal",)) == (zone.needed[0].aspect, zone.needed[0].things)
    still = ask(village, "flashing")
    assert ("flashing", "on", 6 * SECOND) == (still.subject, still.aspect, still.reason_since.at)
    assert answer_lines(still)[0].startswith("flashing at ")
    clear = [(1.0, block(name, CLEAR)) for name in ("ua", "ux", "ub", "da", "dx", "db")]
    road = ask(recorded(tmp_path / "b.jsonl", MILL_LANE, *clear), "mill-lane")
    assert ("crossing", "idle", ()) == (road.subject, road.aspect, road.needed)
    assert "nothing better" in road.impossible[0]


def test_what_was_missing_is_told_by_itself(tmp_path: Path) -> None:
    """Each input that mattered and is not known is named with the reason, and who is to blame."""
    script = [each for each in WELL if each[1] != block("west", CLEAR)]
    dirt = (9, use(Subject.BLOCK, "east", why="dirt"))
    answer = ask(recorded(tmp_path / "a.jsonl", THROAT, *script, dirt), "T1")
    assert [(Kind.USE, "east")] == [(each.kind, each.name) for each in answer.missing]
    [needed] = answer.needed
    assert ("block west were reported clear", "block east were put back into use") == (
        needed.things[1],
        needed.things[0],
    )


def test_a_piece_of_a_session_is_asked_by_itself(tmp_path: Path) -> None:
    """A later file of a session answers from its snapshot on, and says where to ask for what came before."""
    first = tmp_path / "2026-11-25T10-20-00-000000Z.jsonl"
    pieces_of(first)
    whole, part = ask(first, "M1"), ask(piece_path(first, 3), "M1")
    assert (whole.aspect, whole.reason) == (part.aspect, part.reason)
    assert not whole.notes
    assert any(piece_path(first, 2).name in note for note in part.notes)


def test_a_gap_is_told_and_what_follows_is_right(tmp_path: Path) -> None:
    """Behind a damaged line it goes on at the next snapshot."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(2 * SECOND, ordered(61))
    session.message(3 * SECOND, ordered(63))
    session.log.flush()
    session.stand()
    session.message(5 * SECOND, ordered(64))
    session.end(9 * SECOND)
    lines = path.read_bytes().splitlines(keepends=True)
    broken = [b"?\n" if b'"in":2' in line else line for line in lines]
    path.write_bytes(b"".join(broken))
    answer = ask(path, "M2")
    assert ("restricting", 3 * SECOND) == (answer.aspect, answer.since.at)
    assert any("not JSON" in note for note in answer.notes)
    assert 5 * SECOND == ask(path, "H1").since.at


def test_a_moment_of_which_nothing_is_known_is_no_certain_answer(tmp_path: Path) -> None:
    """Between a damaged line and the next snapshot it says how things stood before, and that this is not certain."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(2 * SECOND, ordered(61))
    session.message(3 * SECOND, ordered(61, "normal"))
    session.message(5 * SECOND, ordered(64))
    session.log.flush()
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(b"?\n" if b'"in":2' in line else line for line in lines))
    answer = ask(path, "M1", "+4")
    assert "clear" == answer.aspect
    said = "NOT CERTAIN: the log is damaged before that time; so it stood at 2026-11-25 10:20:0"
    assert answer.doubt.startswith(said)
    assert answer_lines(answer)[0] == answer.doubt
    assert ask(path, "M1").doubt.startswith("NOT CERTAIN: the log is damaged before its end; so it stood at ")


def test_what_shows_nothing_is_told_with_what_goes_by_it(tmp_path: Path) -> None:
    """Whoever asks about a block or an accessory wants to know of the signals that it tells."""
    path = recorded(tmp_path / "a.jsonl", THROAT, *WELL)
    with pytest.raises(DecodeError, match=r"block far shows nothing itself: ask for what goes by it, T2$"):
        ask(path, "far")
    with pytest.raises(DecodeError, match=r"accessory 63 shows nothing itself: ask for what goes by it, T1$"):
        ask(path, "63")
    with pytest.raises(DecodeError, match=r"nothing in .* is called '99999'"):
        ask(path, "99999")


def test_a_later_file_of_a_session_says_what_it_does_not_hold(tmp_path: Path) -> None:
    """What it shows since before its beginning is not told as if it began there, nor are earlier events as if never."""
    first = tmp_path / "a.jsonl"
    pieces_of(first)
    last = piece_path(first, 3)
    answer = ask(last, "M1")
    assert "a-2.jsonl" == answer.earlier
    since = "since before 2026-11-25 10:20:08 (0:00:08.000 after it began), where this file goes on from a-2.jsonl"
    assert since in answer_lines(answer)
    assert "" == ask(first, "M1").earlier
    for early in ("+3", "10:20:03"):
        said = r"a-3.jsonl: .* is too early for this file, which begins 0:00:08.000 after its session did, at 2026"
        with pytest.raises(DecodeError, match=f"{said}.* the first of which is a.jsonl"):
            ask(last, "M1", early)
    with pytest.raises(
        DecodeError, match="no event #3: from this file on they have the numbers 9 to 12; what came"
    ):
        ask(last, "M1", "#3")


def test_what_was_refused_of_others_is_left_out(tmp_path: Path) -> None:
    """What meant nothing is told where it may have been meant for this signal, and not where it names another's."""
    path = tmp_path / "a.jsonl"
    session = Session(path, THROAT)
    session.message(SECOND, order(61, REVERSE))
    for channel in (
        "block/east",
        "accessory/61/ordered",
        "accessory/63/proved",
        "accessory/161/ordered",
        "power/main",
    ):
        session.log.refused(2 * SECOND, "panel", Raw(f"rail/{channel}", b"?"), "no such word")
    session.end(3 * SECOND)
    said = [each.event.channel.removeprefix("rail/") for each in ask(path, "T3").passed_over]
    assert ["accessory/61/ordered", "accessory/161/ordered", "power/main"] == said
    said = [each.event.channel.removeprefix("rail/") for each in ask(path, "T1").passed_over]
    assert ["block/east", "accessory/63/proved", "accessory/161/ordered", "power/main"] == said


def test_what_was_refused_later_is_not_told_of_a_damaged_log(tmp_path: Path) -> None:
    """An answer about the last moment that could be played has nothing of what came after it."""
    path = tmp_path / "a.jsonl"
    session = Session(path)
    session.message(2 * SECOND, ordered(61))
    session.message(3 * SECOND, ordered(61, "normal"))
    session.log.refused(4 * SECOND, "mqtt", Raw("layout/accessory/61/ordered", b"up"), "no such word")
    session.log.flush()
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(b"?\n" if b'"in":2' in line else line for line in lines))
    answer = ask(path, "M1")
    assert ("clear", 2 * SECOND, ()) == (answer.aspect, answer.when.at, answer.passed_over)


def test_the_data_is_json_and_has_all_that_the_text_has(tmp_path: Path) -> None:
    """What is printed as JSON can be read back, and names the same causes, events and needs."""
    path = recorded(tmp_path / "a.jsonl", THROAT, *WELL, (20, proved(63, REVERSE)))
    answer = ask(path, "T1")
    data = json.loads(json.dumps(answer.to_data()))
    assert ("T1", "stop", "clear") == (data["device"], data["aspect"], data["before"])
    cause = {"kind": "proved", "name": "63", "text": "accessory 63 was proved reverse (by bus)", "event": 7}
    assert cause in data["causes"]
    assert ["accessory 63 were proved normal"] == data["needed"][0]["things"]
    assert "rail/told" == data["chain"]["below"][0]["event"]["channel"]
    text = "\n".join(answer_lines(answer))
    assert "clear: if accessory 63 were proved normal" in text
    assert "event #7 at 2026-11-25 10:20:20 on rail/told: so" in text


def test_the_command_answers_in_words_and_as_data(tmp_path: Path) -> None:
    """It exits with 0 and an answer, or with 2 and a sentence."""
    path = recorded(tmp_path / "a.jsonl", LAYOUT, (2, ordered(61)), (4, ordered(61, "normal")))
    said = lamproom("why", str(path), "M1", "--at", "+3")
    assert (0, "") == (said.returncode, said.stderr)
    assert said.stdout.startswith("signal M1 at ")
    assert "by the layout file, line " in said.stdout
    data = lamproom("why", str(path), "M1", "--at", "+3", "--json")
    assert (0, "clear") == (data.returncode, json.loads(data.stdout)["aspect"])
    for words, complaint in (
        ((str(path), "M7"), "lamproom: nothing in Mossbank & Ferry Hill is called 'M7': did you mean M"),
        ((str(path), "M1", "--at", "teatime"), "lamproom: 'teatime' is no time: write 15:30"),
        ((str(tmp_path / "none.jsonl"), "M1"), f"lamproom: {tmp_path / 'none.jsonl'}: cannot be read"),
    ):
        failed = lamproom("why", *words)
        assert (2, "") == (failed.returncode, failed.stdout)
        assert failed.stderr.startswith(complaint)
