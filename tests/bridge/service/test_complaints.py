from __future__ import annotations

from bridge.events import SECOND
from bridge.service.complaints import MINUTE, MOST, Complaints
from bridge.service.notes import Notes


def test_each_is_told_once() -> None:
    """The same complaint again is not told, however often it comes."""
    notes = Notes()
    complaints = Complaints(notes)
    assert [True, False] == [complaints.tell("bus", "key", "what is this", at, "?") for at in (0, SECOND)]
    assert ["what is this (it was: ?)"] == [note["text"] for note in notes.after(0)]


def test_a_flood_is_told_in_its_beginning_and_again_a_minute_later() -> None:
    """A hundred of one source, then a sentence that says so, then nothing; after the minute they are told again."""
    notes = Notes()
    complaints = Complaints(notes)
    told = [complaints.tell("bus", f"key {n}", f"text {n}", n, "?") for n in range(3 * MOST)]
    assert [True] * MOST + [False] * 2 * MOST == told
    assert MOST + 1 == len(notes.after(0))
    assert f"bus sent {MOST} different things within a minute" in notes.after(MOST)[0]["text"]
    assert not complaints.tell("bus", "late", "text", MINUTE - 1, "?")
    assert complaints.tell("bus", "late", "text", MINUTE, "?")


def test_one_source_does_not_use_up_what_another_may_tell() -> None:
    """While one source floods, the first complaint of another is told."""
    complaints = Complaints(Notes())
    for number in range(2 * MOST):
        complaints.tell("bus", f"key {number}", "text", number, "?")
    assert complaints.tell("a node", "key", "text", 2 * MOST, "?")


def test_repeats_use_up_nothing() -> None:
    """A thing that comes a thousand times counts once."""
    complaints = Complaints(Notes())
    for at in range(1000):
        complaints.tell("bus", "key", "text", at, "?")
    assert complaints.tell("bus", "another", "text", 1000, "?")


def test_a_text_is_made_only_where_it_is_told() -> None:
    """What comes a thousand times over costs one look for the name that was meant."""
    made: list[int] = []
    complaints = Complaints(Notes())

    def text() -> str:
        made.append(1)
        return "no block is called so"

    told = [complaints.tell("bus", "key", text, at, "?") for at in range(1000)]
    assert (1, 1) == (sum(told), len(made))
