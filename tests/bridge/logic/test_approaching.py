"""Trains on the tracks of a crossing: who comes, who has crossed, who turns back, and who only stands there."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from bridge.events import SECOND
from bridge.layout.crossings import Phase
from tests.support.crossings import BLOCKS, MILL_LANE, UP, Watched

CALLED, FREE = True, False


def called(watched: Watched, *reports: str) -> list[bool]:
    """Return after each report whether the road is to be closed."""
    found = []
    for report in reports:
        phase = watched.say(report)
        found.append(phase not in (Phase.IDLE, Phase.RISING))
    return found


def test_a_train_that_has_crossed_no_longer_keeps_the_road_closed() -> None:
    """From the first block of an approach to the last wheel off the road, and not while it leaves by the other side."""
    through = ("ua o", "ub o", "ua c", "ux o", "ub c", "uc o", "ux c", "ud o", "uc c", "ud c")
    assert [CALLED] * 6 + [FREE] * 4 == called(Watched(), *through)


def test_the_same_the_other_way() -> None:
    """Both ends of a track are approaches."""
    through = ("ud o", "uc o", "ud c", "ux o", "uc c", "ub o", "ux c", "ua o", "ub c", "ua c")
    assert [CALLED] * 6 + [FREE] * 4 == called(Watched(), *through)


def test_a_train_longer_than_the_road_and_both_sides_of_it() -> None:
    """A train that stands on both sides of the road at once is through when its tail is."""
    through = ("ub o", "ux o", "uc o", "ud o", "ub c", "ux c", "uc c", "ud c")
    assert [CALLED] * 5 + [FREE] * 3 == called(Watched(), *through)


def test_a_train_that_turns_back_in_the_approach() -> None:
    """A train that stops before the road and goes back lets it open once it has left the approach."""
    assert [CALLED, CALLED, CALLED, FREE] == called(Watched(), "ua o", "ub o", "ub c", "ua c")


def test_a_train_that_turns_back_on_the_road() -> None:
    """A train that came onto the road and went back the way it came is a train in the approach, until that is clear."""
    assert [CALLED, CALLED, CALLED, FREE] == called(Watched(), "ub o", "ux o", "ux c", "ub c")


def test_a_train_that_has_crossed_and_comes_back() -> None:
    """From the leaving side it closes the road when it comes onto it, and leaves by the other side."""
    watched = Watched()
    watched.say("ub o", "ux o", "ub c", "uc o", "ux c")
    assert not called(watched, "ud o")[0]
    assert [CALLED, CALLED, CALLED, CALLED, FREE, FREE] == called(
        watched, "ux o", "ud c", "uc c", "ub o", "ux c", "ub c"
    )


def test_a_train_that_was_put_onto_the_road_comes_from_nowhere() -> None:
    """Where it is not known from which side a train came, it is taken to be coming until all is clear."""
    assert [CALLED, CALLED, CALLED, FREE] == called(Watched(), "ux o", "uc o", "ux c", "uc c")


def test_a_train_that_follows_on_the_same_track() -> None:
    """While one train leaves, the next one closes the road, and is told apart from it."""
    watched = Watched()
    watched.say("ub o", "ux o", "ub c", "uc o", "ux c")
    assert [CALLED, CALLED, CALLED, CALLED, FREE] == called(watched, "ub o", "ux o", "ub c", "uc c", "ux c")
    watched = Watched()
    watched.say("ub o", "ux o", "ub c", "uc o", "ux c", "ud o", "uc c")
    assert [CALLED, CALLED, CALLED, CALLED, FREE] == called(watched, "ub o", "ux o", "uc o", "ub c", "ux c")


def test_a_second_train_on_another_track() -> None:
    """The road opens after the last train, whichever that is."""
    for first, second in (("u", "d"), ("d", "u")):
        blocks = {"u": ("ub", "ux", "uc"), "d": ("da", "dx", "db")}
        [a, x, b], [c, y, d] = blocks[first], blocks[second]
        watched = Watched()
        reports = (
            f"{a} o",
            f"{c} o",
            f"{x} o",
            f"{a} c",
            f"{b} o",
            f"{x} c",
            f"{y} o",
            f"{c} c",
            f"{d} o",
            f"{y} c",
        )
        assert [CALLED] * 9 + [FREE] == called(watched, *reports)


def test_a_block_that_two_tracks_share() -> None:
    """A train that leaves by a block where tracks come together does not come on the other of them."""
    shared = replace(MILL_LANE.tracks[1], approaches=(("da",), ("uc",)))
    watched = Watched(replace(MILL_LANE, tracks=(UP, shared)))
    assert [CALLED, CALLED, CALLED, CALLED, FREE, FREE] == called(
        watched, "ub o", "ux o", "ub c", "uc o", "ux c", "uc c"
    )
    assert [CALLED, CALLED, CALLED, CALLED, FREE] == called(watched, "uc o", "dx o", "uc c", "da o", "dx c")


@pytest.mark.parametrize("block", BLOCKS)
def test_what_is_not_known_is_a_train(block: str) -> None:
    """A block of which nothing is known closes the road and keeps it closed: 49 CFR 234.203, 236.5."""
    watched = Watched()
    assert [CALLED, FREE, CALLED, CALLED, FREE] == called(
        watched, f"{block} ?", f"{block} c", f"{block} ?", f"{block} o", f"{block} c"
    )


@pytest.mark.parametrize("block", ["uc", "ud"])
def test_a_train_that_is_lost_from_sight_while_it_leaves_may_come_back(block: str) -> None:
    """A block that is being left and is then no longer known closes the road again."""
    watched = Watched()
    watched.say("ub o", "ux o", "ub c", "uc o", "ux c", "ud o")
    assert [CALLED, CALLED] == called(watched, f"{block} ?", f"{block} o")


def test_a_road_of_which_nothing_was_known_says_nothing_of_directions() -> None:
    """A block that becomes occupied beside a road that is not known to be occupied is an approach."""
    watched = Watched()
    watched.say("ub o", "ux ?", "uc o", "ub c", "ux c")
    assert Phase.WARNING is watched.phase


def test_two_trains_that_come_from_both_sides() -> None:
    """With both sides taken when the road is, nobody knows who is on it: all of them are coming."""
    watched = Watched()
    watched.say("ub o", "uc o", "ux o", "ub c", "ub o", "ux c")
    assert [CALLED, FREE] == called(watched, "uc c", "ub c")


TIMED = replace(MILL_LANE, time_out=60 * SECOND)


def test_a_train_may_stand_in_an_approach_for_ever_unless_the_owner_says_otherwise() -> None:
    """Without `time-out` a train that stands before the road keeps it closed."""
    watched = Watched()
    watched.say("ua o")
    assert Phase.DOWN is watched.wait(24 * 3600 * SECOND)


def test_a_train_that_stands_too_long_lets_the_road_open() -> None:
    """With `time-out` the road opens after that time, and not a nanosecond before."""
    watched = Watched(TIMED)
    watched.say("ua o")
    assert Phase.DOWN is watched.wait(60 * SECOND - 1)
    assert Phase.RISING is watched.wait(1)


@pytest.mark.parametrize("report", ["ub o", "ux o", "ub ?"])
def test_a_train_that_goes_on_closes_the_road_again(report: str) -> None:
    """Whatever moves in the approach, or onto the road, is a train that comes, and the time begins anew."""
    watched = Watched(TIMED)
    watched.say("ua o")
    watched.wait(100 * SECOND)
    assert Phase.IDLE is watched.phase
    assert [CALLED] == called(watched, report)
    assert Phase.DOWN is watched.wait(59 * SECOND)


def test_no_time_runs_out_for_what_is_not_known() -> None:
    """A block of which nothing is known keeps the road closed, however long: 49 CFR 236.5."""
    watched = Watched(TIMED)
    watched.say("ua o", "ub ?")
    assert Phase.DOWN is watched.wait(3600 * SECOND)


def test_no_time_runs_out_for_a_train_on_the_road() -> None:
    """A train on the road keeps it closed, however long: 49 CFR 234.223."""
    watched = Watched(TIMED)
    watched.say("ub o", "ux o")
    assert Phase.DOWN is watched.wait(3600 * SECOND)


@pytest.mark.parametrize(("first", "second"), [*combinations(("ua", "da", "uc"), 2)])
def test_a_second_train_is_one_on_another_track(first: str, second: str) -> None:
    """Trains on two tracks are two, and the sign goes out with the lights: TSRGD 1994 Sch. 19 para 48(6)."""
    watched = Watched()
    watched.say(f"{first} o", f"{second} o")
    both = first[0] != second[0]
    assert both is watched.crossing.another
    watched.say(f"{first} c")
    assert both is watched.crossing.another
    watched.say(f"{second} c")
    watched.wait(30 * SECOND)
    assert (Phase.IDLE, False) == (watched.phase, watched.crossing.another)


def test_what_is_not_known_is_no_second_train() -> None:
    """A sign tells of trains that were seen."""
    watched = Watched()
    watched.say("ua o", "da ?")
    assert not watched.crossing.another
