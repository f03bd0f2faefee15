"""What a condition goes by, what it comes to where something is not known, and the words for it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.events import (
    SECOND,
    Authority,
    BlockState,
    ButtonState,
    Event,
    LinkState,
    NodeReported,
    Position,
    Subject,
    UseReported,
)
from bridge.layout.conditions import (
    AccessoryStands,
    AllOf,
    AnyOf,
    BlockIs,
    Condition,
    Hours,
    LightIsOn,
    Not,
    SignalShows,
)
from bridge.logic.conditions import ask, keys_of, offset, placed
from bridge.logic.known import NO, UNKNOWN, YES, Fact, Known
from tests.support.driving import NORMAL, REVERSE, copy, decisions, lost, order
from tests.support.lit import block, clock, driven, lamp, number, press, proved, tell, why

ON: Final = "on"
OFF: Final = "off"
HELD: Final = "hold"  # what stands for nobody knows

ENTER: Final = (block(BlockState.CLEAR), block(BlockState.OCCUPIED, SECOND))
PRESS: Final = press("bell", SECOND)
RELEASE: Final = press("bell", 2 * SECOND, ButtonState.RELEASED)
AGAIN: Final = press("bell", 3 * SECOND)
SILENT: Final = NodeReported(at=0, source="nodes", node="east", state=LinkState.LOST)
ABSENT: Final = UseReported(
    at=0, source="panel", subject=Subject.SIGNAL, name="T2", out=True, absent=True, why="not built yet"
)
OUT: Final = UseReported(
    at=0, source="panel", subject=Subject.TURNOUT, name="70", out=True, why="a broken rod"
)

LEAVES: Final[list[tuple[str, tuple[Event, ...], str, str]]] = [
    # the condition, what happens, what it comes to, the words
    ("always", (), ON, "it is always so"),
    ("{accessory: 70}", (), HELD, "accessory 70 was not ordered since the start"),
    ("{accessory: 70}", (order(70, REVERSE),), ON, "accessory 70 was ordered reverse (by panel)"),
    ("{accessory: 70}", (order(70, NORMAL),), OFF, "accessory 70 was ordered normal (by panel)"),
    (
        "{accessory: 70, ordered: closed}",
        (order(70, NORMAL),),
        ON,
        "accessory 70 was ordered normal (by panel)",
    ),
    (
        "{accessory: 70}",
        (copy(70, REVERSE),),
        ON,
        "accessory 70 was ordered reverse in a kept copy (by panel)",
    ),
    (
        "{accessory: 70}",
        (order(70, REVERSE), lost()),
        HELD,
        "panel was lost, and accessory 70 was not ordered since",
    ),
    ("{accessory: 70}", (order(70, REVERSE), OUT), HELD, "accessory 70 is out of use: a broken rod"),
    (
        "{accessory: 70, proved: reverse}",
        (order(70, REVERSE),),
        HELD,
        "accessory 70 was not proved since the start",
    ),
    (
        "{accessory: 70, proved: thrown}",
        (proved(70, REVERSE),),
        ON,
        "accessory 70 was proved reverse (by panel)",
    ),
    (
        "{accessory: 70, proved: reverse}",
        (proved(70, Position.MOVING),),
        HELD,
        "accessory 70 was proved moving (by panel)",
    ),
    (
        "{accessory: 70, aspect-number: 3}",
        (number(70, 3),),
        ON,
        "aspect 3 was ordered of accessory 70 (by panel)",
    ),
    (
        "{accessory: 70, aspect-number: [3, 4]}",
        (number(70, 5),),
        OFF,
        "aspect 5 was ordered of accessory 70 (by panel)",
    ),
    ("{accessory: 70, aspect-number: 3}", (), HELD, "accessory 70 was not ordered since the start"),
    (
        "{block: yard, is: occupied}",
        (),
        HELD,
        "it is not known whether block yard is occupied: nothing was heard of it yet",
    ),
    ("{block: yard, is: occupied}", ENTER, ON, "block yard is occupied"),
    ("{block: yard, is: clear}", ENTER, OFF, "block yard is occupied"),
    ("{block: yard, is: clear}", ENTER[:1], ON, "block yard is clear"),
    (
        "{block: yard, is: clear}",
        (*ENTER, lost()),
        HELD,
        "it is not known whether block yard is occupied: panel was lost",
    ),
    ("{block: yard, entered: 20 s}", ENTER[:1], OFF, "block yard was not entered since the start"),
    ("{block: yard, entered: 20 s}", ENTER, ON, "block yard was entered less than 20 s ago"),
    ("{block: yard, entered: 20 s}", ENTER[1:], OFF, "block yard was not entered since the start"),
    ("{block: yard, entered: 20 s}", (*ENTER, lost()), ON, "block yard was entered less than 20 s ago"),
    (
        "{block: yard, entered: 20 s}",
        (ENTER[0], lost()),
        HELD,
        "it is not known whether block yard is occupied: panel was lost",
    ),
    ("{button: bell}", (), OFF, "button bell was not pressed since the start"),
    ("{button: bell}", (PRESS,), ON, "button bell was pressed (by panel)"),
    ("{button: bell}", (PRESS, RELEASE), OFF, "button bell was released (by panel)"),
    (
        "{button: bell}",
        (PRESS, lost()),
        HELD,
        "it is not known whether button bell is held: panel was lost",
    ),
    ("{button: bell, toggles: true}", (), OFF, "button bell was not pressed since the start"),
    ("{button: bell, toggles: true}", (PRESS, RELEASE), ON, "button bell was pressed to turn it on"),
    ("{button: bell, toggles: true}", (PRESS, PRESS), ON, "button bell was pressed to turn it on"),
    ("{button: bell, toggles: true}", (PRESS, RELEASE, AGAIN), OFF, "button bell was pressed to turn it off"),
    ("{button: bell, toggles: true}", (PRESS, RELEASE, lost()), ON, "button bell was pressed to turn it on"),
    ("{button: bell, runs: 2.5 s}", (PRESS, RELEASE), ON, "button bell was pressed less than 2.5 s ago"),
    (
        "{button: bell, runs: 2.5 s}",
        (PRESS, RELEASE, lost()),
        ON,
        "button bell was pressed less than 2.5 s ago",
    ),
    ("{signal: T2, shows: clear}", (), OFF, "T2 shows stop"),
    ("{signal: T2, shows: [approach, clear]}", (order(62, NORMAL),), ON, "T2 shows approach"),
    (
        "{signal: T2, shows: stop}",
        (SILENT,),
        HELD,
        "it is not known what T2 shows: node east does not answer",
    ),
    ("{signal: T2, shows: stop}", (ABSENT,), OFF, "T2 is absent, so the line ends there"),
    ("{light: H2}", (), OFF, "H2 is off"),
    ("{light: H2}", (order(102, REVERSE),), ON, "H2 is on"),
    ("{clock: 18:00 to 23:30}", (), HELD, "nothing was heard of the model clock since the start"),
    ("{clock: 18:00 to 23:30}", (clock("18:00"),), ON, "the model clock is between 18:00 and 23:30"),
    ("{clock: dusk to dawn}", (clock("06:09"),), ON, "the model clock is between 19:40 and 06:10"),
    ("{clock: dusk to dawn}", (clock("12:00"),), OFF, "the model clock is between 06:10 and 19:40"),
    ("{clock: dusk to 23:30}", (clock("23:29"),), ON, "the model clock is between 19:40 and 23:30"),
]


@pytest.mark.parametrize(("when", "events", "comes_to", "words"), LEAVES)
def test_each_kind_of_condition_is_yes_no_or_unknown_with_its_reason(
    when: str, events: tuple[Event, ...], comes_to: str, words: str
) -> None:
    """One light is on and one off while nobody knows: where both follow the condition it is known, else it is not."""
    said = [f"{when}, when-unknown: '{unknown}'" for unknown in (ON, OFF)]
    engine = driven(said[0], "{accessory: 102}", said[1])
    tell(engine, *events)

    shown = (lamp(engine, "H1"), lamp(engine, "H3"))
    assert {ON: (ON, ON), OFF: (OFF, OFF), HELD: (ON, OFF)}[comes_to] == shown
    assert [words] * 2 == [why(engine, "H1"), why(engine, "H3")]


def test_what_is_worked_out_names_the_events_that_it_rests_on() -> None:
    """The causes of a decision are the events of all that decided it, in order."""
    engine = driven("{all: [{clock: 18:00 to 23:30}, {accessory: 14}]}")
    tell(engine, order(14, REVERSE), press("bell"))
    [decision] = decisions(tell(engine, clock("19:00")))
    words = "the model clock is between 18:00 and 23:30, and accessory 14 was ordered reverse (by panel)"
    assert ("on", words, (1, 3)) == decision[3:]


KLEENE: Final = {
    # S. C. Kleene, "Introduction to Metamathematics", 1952, section 64: the strong tables of three values
    ("all", True, True): True,
    ("all", True, False): False,
    ("all", True, None): None,
    ("all", False, False): False,
    ("all", False, None): False,
    ("all", None, None): None,
    ("any", True, True): True,
    ("any", True, False): True,
    ("any", True, None): True,
    ("any", False, False): False,
    ("any", False, None): None,
    ("any", None, None): None,
}
VALUES: Final = (True, False, None)
HOURS: Final = Hours(64_800, 84_600)
FACTS: Final[dict[Condition, tuple[str, str, str]]] = {
    # a condition, with the value of its fact that makes it hold, that does not, and that makes it unknown
    AccessoryStands(70, REVERSE): ("reverse", "normal", UNKNOWN),
    AccessoryStands(70, NORMAL, proved=True): ("normal", "reverse", Position.MOVING),
    BlockIs("yard", BlockState.CLEAR): ("clear", "occupied", "unknown"),
    HOURS: (YES, NO, UNKNOWN),
    SignalShows("T2", ("clear", "approach")): ("clear", "stop", UNKNOWN),
    LightIsOn("H2"): ("on", "off", "off"),
}


def knowing(values: dict[Condition, bool | None]) -> Known:
    """Return facts by which conditions come to these values."""
    known = Known()
    for place, (condition, value) in enumerate(values.items(), start=1):
        assert isinstance(condition, tuple(map(type, FACTS)))
        [key] = keys_of(condition)  # type: ignore[arg-type]  # it is a leaf
        words = "a reason" if value is None else ""
        known.tell(key, Fact(FACTS[condition][VALUES.index(value)], place, "panel", why=words))
    return known


FIRST, SECOND_ONE = AccessoryStands(70, REVERSE), HOURS


@pytest.mark.parametrize(("joined", "one", "other"), KLEENE)
def test_conditions_are_joined_by_kleene_s_tables(joined: str, one: bool | None, other: bool | None) -> None:
    """What settles it settles it, whatever is not known; in either order."""
    expected = KLEENE[joined, one, other]
    for first, second in ((one, other), (other, one)):
        known = knowing({FIRST: first, SECOND_ONE: second})
        parts = (FIRST, SECOND_ONE)
        assert expected is ask(AllOf(parts) if joined == "all" else AnyOf(parts), known).holds


@pytest.mark.parametrize(("value", "expected"), [(True, False), (False, True), (None, None)])
def test_not_turns_yes_and_no_round_and_leaves_unknown(value: bool | None, expected: bool | None) -> None:
    """The words stay: they say what is so."""
    known = knowing({FIRST: value})
    turned, plain = ask(Not(FIRST), known), ask(FIRST, known)
    assert (expected, plain.words, plain.causes) == (turned.holds, turned.words, turned.causes)


def joins(parts: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
    """Return what is made of conditions."""
    several = st.lists(parts, min_size=1, max_size=4).map(tuple)
    return st.one_of(several.map(AllOf), several.map(AnyOf), parts.map(Not))


TREES: Final = st.recursive(st.sampled_from(list(FACTS)), joins, max_leaves=12)


def possible(condition: Condition, worlds: Sequence[dict[Condition, bool]]) -> set[bool]:
    """Return all that a condition can come to in two values, with what is not known either way."""
    return {two_valued(condition, world) for world in worlds}


def two_valued(condition: Condition, world: dict[Condition, bool]) -> bool:
    """Evaluate by Python's own words."""
    match condition:
        case AllOf(parts):
            return all(two_valued(part, world) for part in parts)
        case AnyOf(parts):
            return any(two_valued(part, world) for part in parts)
        case Not(part):
            return not two_valued(part, world)
    return world[condition]


def numbers(condition: Condition, values: dict[Condition, bool | None]) -> int:
    """Evaluate in numbers: unknown lies half-way, `all` is the least, `any` the greatest, `not` the other side."""
    match condition:
        case AllOf(parts):
            return min(numbers(part, values) for part in parts)
        case AnyOf(parts):
            return max(numbers(part, values) for part in parts)
        case Not(part):
            return 2 - numbers(part, values)
    return {True: 2, None: 1, False: 0}[values[condition]]


@given(TREES, st.lists(st.sampled_from(VALUES), min_size=len(FACTS), max_size=len(FACTS)))
def test_any_tree_comes_to_what_two_other_reckonings_say(tree: Condition, drawn: list[bool | None]) -> None:
    """Least and greatest give the same; and what is known is so whichever way the unknown turns out."""
    values: dict[Condition, bool | None] = dict(zip(FACTS, drawn, strict=True))
    values[LightIsOn("H2")] = bool(values[LightIsOn("H2")])  # a light is on or off
    answer = ask(tree, knowing(values))

    assert {2: True, 1: None, 0: False}[numbers(tree, values)] is answer.holds
    worlds = [
        dict(zip(values, each, strict=True))
        for each in product(*((True, False) if value is None else (value,) for value in values.values()))
    ]
    if answer.holds is not None:
        assert {answer.holds} == possible(tree, worlds)
    assert answer.words
    assert list(answer.causes) == sorted(set(answer.causes))


def test_a_nested_condition_of_a_file_is_read_as_it_stands() -> None:
    """Conditions stand in each other in the file as they do on paper."""
    engine = driven("{any: [{all: [{accessory: 14}, {not: {clock: 06:00 to 20:00}}]}, {button: bell}]}")
    tell(engine, order(14, REVERSE), clock("12:00"))
    assert OFF == lamp(engine)
    tell(engine, clock("21:00"))
    assert ON == lamp(engine)
    tell(engine, order(14, NORMAL))
    assert (
        "accessory 14 was ordered normal (by panel), and button bell was not pressed since the start"
        == why(engine)
    )
    tell(engine, press("bell"))
    assert (ON, "button bell was pressed (by panel)") == (lamp(engine), why(engine))


@given(st.text(min_size=1, max_size=64), st.integers(0, 43_200))
def test_a_part_of_a_spread_is_at_most_half_of_it(name: str, spread: int) -> None:
    """Early or late by no more than half the spread, and the same each time that it is asked."""
    late = offset(name, spread)
    assert -spread <= 2 * late <= spread
    assert late == offset(name, spread)


def test_the_houses_of_a_street_do_not_come_on_together() -> None:
    """Of a hundred houses with 20 minutes of spread half are early, and each quarter of the time has some."""
    late = [offset(f"house {place}", 1200) for place in range(100)]
    assert 90 < len(set(late))
    assert 35 < sum(each < 0 for each in late) < 65
    assert all(any(low <= each < low + 300 for each in late) for low in range(-600, 600, 300))


def test_a_part_of_a_spread_is_the_same_in_every_run_and_on_every_machine() -> None:
    """It is taken from the SHA-256 digest of the name: its first 8 bytes, the highest first."""
    # `printf %s mill | sha256sum` (GNU coreutils) begins so
    assert 0x901FAC08E3B464B1 % 1201 - 600 == offset("mill", 1200)
    assert Hours((64_800 + offset("mill", 1200)) % 86_400, (1_800 + offset("mill", 1200)) % 86_400) == placed(
        Hours(64_800, 1_800, 1200), "mill"
    )


def test_a_light_with_a_spread_comes_on_and_goes_out_at_its_own_times() -> None:
    """Both are early or late by the same, and the reason says when they are."""
    engine = driven("{clock: 18:00 to 23:30, spread: 30 min}")
    tell(engine, clock("12:00"))
    late = offset("H1", 1800)
    [on] = decisions(engine.advance((6 * 3600 + late) * SECOND))
    [off] = decisions(engine.advance((11 * 3600 + 1800 + late) * SECOND))
    assert [(6 * 3600 + late) * SECOND, (11 * 3600 + 1800 + late) * SECOND] == [on.at, off.at]
    assert late != 0
    assert "18:00 and 23:30" not in on.reason


def test_a_kept_copy_never_overrides_an_order() -> None:
    """The order stays, before and after the copy; and a copy comes to a light that knows nothing."""
    engine = driven("{accessory: 70}")
    tell(engine, order(70, REVERSE), copy(70, NORMAL))
    assert ON == lamp(engine)
    tell(engine, lost(), copy(70, NORMAL))
    assert OFF == lamp(engine)


def test_orders_from_before_a_restart_are_for_lights_that_want_them() -> None:
    """One light takes it up again, and keeps it against a copy; the other knows nothing, and takes the copy."""
    engine = driven("{accessory: 70}, at-start: restored", "{accessory: 70}")
    restored = order(70, REVERSE, authority=Authority.RESTORED)
    tell(engine, restored)
    assert [ON, OFF] == [lamp(engine, "H1"), lamp(engine, "H2")]
    assert "accessory 70 was ordered reverse before the restart (by panel)" == why(engine)
    tell(engine, copy(70, NORMAL), restored)
    assert [ON, OFF] == [lamp(engine, "H1"), lamp(engine, "H2")]
    assert "accessory 70 was ordered normal in a kept copy (by panel)" == why(engine, "H2")
    tell(engine, order(70, NORMAL))
    assert [OFF, OFF] == [lamp(engine, "H1"), lamp(engine, "H2")]
