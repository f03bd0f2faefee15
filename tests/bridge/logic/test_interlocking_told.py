"""What an interlocking tells: its locks from the start to the end, and the frames of what falls first."""

from __future__ import annotations

from itertools import pairwise

from bridge.commands import Decision, PublishFrame, Told
from bridge.events import SECOND
from tests.support.junction import JUNCTION, Junction, cleared


def test_locks_are_told_at_the_start_and_let_go_of_at_the_end() -> None:
    """What the broker kept of an earlier run is put right at once, and nobody has to wait for a bridge that stopped."""
    junction = cleared()
    assert {"63": "free", "66": "free"} == {
        each.name: each.state for each in junction.commands if isinstance(each, Told) and each.at == 0
    }
    assert "locked" == junction.locks()["63"]
    last = junction.engine.closing(30 * SECOND)
    assert {"63": "free", "66": "free"} == {each.name: each.state for each in last if isinstance(each, Told)}


def test_a_conflict_that_only_the_other_names_is_asked_again() -> None:
    """B names W, and W does not name B over its other route: W clears when what kept B away from stop is over."""
    text = JUNCTION.replace("conflicts: [E, B]", "conflicts: [E]")
    junction = Junction(text)
    junction.use("node", "junction", 15, "no power")
    junction.order(71, "reverse", 20)
    assert "is not known to be at stop" in junction.why("W")
    junction.use("node", "junction", 30)
    assert "clear" == junction.shows("W")


def test_frames_fall_before_they_rise() -> None:
    """In one event every signal that becomes more restrictive is on its way before any that becomes better."""
    junction = Junction()
    junction.order(72, "reverse", 20)
    junction.order(71, "reverse", 21)
    junction.order(72, "normal", 30)
    told = [each for each in junction.commands if isinstance(each, Decision) and each.at == 30 * SECOND]
    assert {"E": "stop", "W": "clear", "A": "clear"} == {each.device: each.aspect for each in told}
    frames = [each.levels for each in junction.commands if isinstance(each, PublishFrame)]
    # Three slots a mast, in the order W, E, B, A. The last frames in the list are those of this event.
    changed = [
        {mast for place, mast in enumerate("WEBA") if one[3 * place :][:3] != other[3 * place :][:3]}
        for one, other in pairwise(frames[-3:])
    ]
    assert [{"E"}, {"W", "A"}] == changed
