"""What is published of block signals and detectors, rule by rule; and each check fails where its rule is broken."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Final, NamedTuple

import pytest

from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND, ButtonState, Event, LinkState, Position, PowerState
from tests.support.broken_rules import (
    Break,
    believes_dead_nodes,
    believes_orders,
    copies_the_next,
    delays,
    never_bounces,
    obeys_copies,
    obeys_the_lost,
    only_first_blocks,
    remembers_all,
    stops_at_strange_numbers,
    trusts_at_once,
    waits_on,
)
from tests.support.driving import NORMAL, REVERSE, button, heard, lost, order
from tests.support.tracks import (
    CLEAR,
    OCCUPIED,
    UNKNOWN,
    block,
    driven,
    kept_block,
    node,
    number_ordered,
    power,
    proved,
    run_to,
    shown,
    tell,
    written,
)

# ---- detectors -----------------------------------------------------------------------------------------------

DETECTOR: Final = written(
    {"A1": "ahead: [{blocks: [east], beyond: clear}]"}, "blocks: {east: {clear-after: 1500 ms}}\n"
)


def east_clear() -> Engine:
    """Return a layout with one signal, whose block has been clear for ten seconds."""
    engine = driven(DETECTOR)
    engine.handle(block("east", CLEAR))
    run_to(engine, 10 * SECOND)
    assert ["clear"] == shown(engine, "A1")
    return engine


def occupied_counts_at_once() -> None:
    """An occupied block puts its signal to stop with the very event."""
    engine = east_clear()
    engine.handle(block("east", OCCUPIED, 10 * SECOND))
    assert ["stop"] == shown(engine, "A1")


def clear_counts_after_a_while() -> None:
    """A block counts as clear only once it was reported clear for its time without a break."""
    engine = east_clear()
    tell(engine, block("east", OCCUPIED, 10 * SECOND), block("east", CLEAR, 20 * SECOND))
    run_to(engine, 21_500 * MILLISECOND - 1)
    assert ["stop"] == shown(engine, "A1")
    run_to(engine, 21_500 * MILLISECOND)
    assert ["clear"] == shown(engine, "A1")


def a_short_loss_changes_nothing() -> None:
    """A train that loses contact for less than the time of its block changes no aspect."""
    engine = east_clear()
    engine.handle(block("east", OCCUPIED, 10 * SECOND))
    at = 10 * SECOND
    for lost_for in (1, 100 * MILLISECOND, 1499 * MILLISECOND):
        at += SECOND
        engine.handle(block("east", CLEAR, at))
        run_to(engine, at + lost_for)
        assert ["stop"] == shown(engine, "A1")
        at += lost_for
        engine.handle(block("east", OCCUPIED, at))
        assert ["stop"] == shown(engine, "A1")


def contact_again_starts_the_wait_anew() -> None:
    """After a break the whole time has to pass once more."""
    engine = east_clear()
    tell(
        engine,
        block("east", OCCUPIED, 10 * SECOND),
        block("east", CLEAR, 11 * SECOND),
        block("east", OCCUPIED, 12 * SECOND),
        block("east", CLEAR, 12_100 * MILLISECOND),
    )
    run_to(engine, 13_600 * MILLISECOND - 1)
    assert ["stop"] == shown(engine, "A1")
    run_to(engine, 13_600 * MILLISECOND)
    assert ["clear"] == shown(engine, "A1")


def unknown_is_as_good_as_occupied() -> None:
    """After a start, and when its detector says so, a block is not known and its signal stays at stop."""
    engine = driven(DETECTOR)
    run_to(engine, 3600 * SECOND)
    assert ["stop"] == shown(engine, "A1")

    engine = east_clear()
    engine.handle(block("east", UNKNOWN, 10 * SECOND))
    assert ["stop"] == shown(engine, "A1")


def a_lost_detector_is_unknown() -> None:
    """A source that is lost leaves its blocks unknown, and nothing that it said before counts any more."""
    engine = east_clear()
    engine.handle(lost("bus", 10 * SECOND))
    assert ["stop"] == shown(engine, "A1")
    engine.handle(heard("bus", 11 * SECOND))
    run_to(engine, 60 * SECOND)
    assert ["stop"] == shown(engine, "A1")


def contacts_bounce() -> None:
    """What a button says within 20 ms of a change does not count: the press is one press."""
    engine = driven(
        written({"B1": "buttons: {stepped: {button: next, aspects: [approach, clear, restricting]}}"})
    )
    for at, state in ((0, ButtonState.PRESSED), (8, ButtonState.RELEASED), (20, ButtonState.PRESSED)):
        engine.handle(button("next", state, at * MILLISECOND))
    run_to(engine, SECOND)
    assert ["approach"] == shown(engine, "B1")


# ---- automatic block signals -----------------------------------------------------------------------------------

SEQUENCES: Final = {
    # of a system, the colours for 0, 1, 2 and 3 or more clear sections
    "2 aspects": ("R", "G", "G", "G"),
    "3 aspects": ("R", "Y", "G", "G"),
    "4 aspects, Great Britain": ("R", "Y", "YY", "G"),
    "4 aspects, North America": ("R", "Y", "fY", "G"),
}


def the_sequence_of_a_line() -> None:
    """Behind a train, each signal shows what the number of clear sections ahead of it says."""
    count = 6
    for colours in SEQUENCES.values():
        steps = list(dict.fromkeys(colours))
        own = ", ".join(f"{step}: red" for step in steps)
        head = f"aspects: {{{own}}}, sequence: [{', '.join(steps)}]"
        entries = {
            f"A{place}": f"{head}, ahead: [{{blocks: [b{place}], next: A{place + 1}}}]"
            for place in range(count)
        }
        entries[f"A{count}"] = f"{head}, commands: {{9: {{normal: G}}}}"
        detectors = ", ".join(f"b{place}: {{clear-after: 0 s}}" for place in range(count))
        engine = driven(written(entries, f"blocks: {{{detectors}}}\n"))
        for train in range(count):
            for place in range(count):
                engine.handle(block(f"b{place}", OCCUPIED if place == train else CLEAR, engine.now))
            expected = [colours[min(train - place, 3)] for place in range(train + 1)]
            assert expected == shown(engine, *(f"A{place}" for place in range(train + 1)))


LINE: Final = written(
    {
        "A1": "ahead: [{turnouts: {63: normal}, blocks: [east, far-east], next: A2}]",
        "A2": "commands: {61: {normal: stop, reverse: clear}}",
    },
    "districts: {main: {settle: 2 s}}\nblocks: {east: {clear-after: 0 s, district: main}, "
    "far-east: {clear-after: 0 s}}\nturnouts: {63: {feedback: true}}\n",
    {"A2": "far"},
)


def line_clear() -> Engine:
    """Return a line on which all is well: A1 and A2 are clear."""
    engine = driven(LINE)
    tell(
        engine,
        power("main", PowerState.ON),
        block("east", CLEAR),
        block("far-east", CLEAR),
        proved(63, NORMAL),
        order(61, REVERSE),
    )
    run_to(engine, 10 * SECOND)
    assert ["clear", "clear"] == shown(engine, "A1", "A2")
    return engine


def after(event: Callable[[int], Event]) -> str:
    """Return what A1 shows after something has happened to a line on which all was well."""
    engine = line_clear()
    engine.handle(event(10 * SECOND))
    run_to(engine, 20 * SECOND)
    return shown(engine, "A1")[0]


def a_signal_into_what_is_not_clear_stops() -> None:
    """Occupied anywhere, a switch not properly closed, a detector or circuit without power: most restrictive."""
    assert "stop" == after(lambda at: block("east", OCCUPIED, at))
    assert "stop" == after(lambda at: block("far-east", OCCUPIED, at))
    assert "stop" == after(lambda at: block("far-east", UNKNOWN, at))
    assert "stop" == after(lambda at: proved(63, REVERSE, at))
    assert "stop" == after(lambda at: proved(63, Position.MOVING, at))
    assert "stop" == after(lambda at: proved(63, Position.UNKNOWN, at))
    assert "stop" == after(lambda at: power("main", PowerState.OFF, at))
    assert "stop" == after(lambda at: power("main", PowerState.SHORTED, at))


def a_switch_has_to_be_proved() -> None:
    """What a turnout with feedback was ordered clears no signal, and undoes no proof either."""
    engine = driven(LINE)
    tell(
        engine,
        power("main", PowerState.ON),
        block("east", CLEAR),
        block("far-east", CLEAR),
        order(63, NORMAL),
        order(61, REVERSE),
    )
    run_to(engine, 10 * SECOND)
    assert ["stop"] == shown(engine, "A1")
    tell(engine, proved(63, NORMAL, 10 * SECOND))
    assert ["clear"] == shown(engine, "A1")
    tell(engine, order(63, REVERSE, 11 * SECOND))
    assert ["clear"] == shown(engine, "A1")


CLOSED: Final = written(
    {
        "C": "commands: {61: {normal: stop, reverse: clear}}",
        "T": "table: [{when: {62: reverse}, show: clear}, {when: {62: normal}, show: stop}]",
        "N": "aspect-number: {accessory: 37, aspects: {0: stop, 15: clear}}",
        "A": "ahead: [{turnouts: {63: normal}, blocks: [east], beyond: clear}]",
        "H": "buttons: {held: {crash: stop, lever: clear}, otherwise: approach}",
        "L": "buttons: {latched: {red: stop, green: clear}}",
        "S": "buttons: {stepped: {button: next, aspects: [clear, stop]}}",
        "F": "follows: C",
    },
    "blocks: {east: {clear-after: 0 s}}\n",
)


def loss_of_information_is_restrictive() -> None:
    """Every way of telling a signal what to show rests on being told: without its source it stops, and stays so."""
    engine = driven(CLOSED)
    tell(
        engine,
        order(61, REVERSE),
        order(62, REVERSE),
        number_ordered(37, 15),
        order(63, NORMAL),
        block("east", CLEAR, source="panel"),
        *(button(name, ButtonState.PRESSED) for name in ("lever", "green", "next")),
    )
    run_to(engine, SECOND)
    assert ["clear"] * 8 == shown(engine, *"CTNAHLSF")
    tell(engine, lost("panel", SECOND), heard("panel", 2 * SECOND))
    run_to(engine, 100 * SECOND)
    assert ["stop"] * 8 == shown(engine, *"CTNAHLSF")


SINGLE: Final = written(
    {
        # Eastward A1 and A2, westward B3 and B2, over a single line s1 s2 s3 between two passing tracks.
        "A1": "ahead: [{blocks: [s1, s2, s3], beyond: clear}]",
        "A2": "ahead: [{blocks: [s2, s3], beyond: clear}]",
        "B3": "ahead: [{blocks: [s3, s2, s1], beyond: clear}]",
        "B2": "ahead: [{blocks: [s2, s1], beyond: clear}]",
    },
    "blocks: {s1: {clear-after: 0 s}, s2: {clear-after: 0 s}, s3: {clear-after: 0 s}}\n",
)


def a_train_tumbles_opposing_signals_down() -> None:
    """A train that passes the head block of a single line puts the opposing head block, and all on its way, to stop."""
    engine = driven(SINGLE)
    tell(engine, block("s1", CLEAR), block("s2", CLEAR), block("s3", CLEAR))
    assert ["clear"] * 4 == shown(engine, "A1", "A2", "B2", "B3")
    tell(engine, block("s1", OCCUPIED))
    assert ["stop", "clear", "stop", "stop"] == shown(engine, "A1", "A2", "B2", "B3")
    tell(engine, block("s2", OCCUPIED), block("s1", CLEAR))
    assert ["stop"] * 4 == shown(engine, "A1", "A2", "B2", "B3")


RANKS: Final = {"stop": 0, "restricting": 1, "approach": 2, "clear": 3}

FAULTS: Final[list[Callable[[int], Event]]] = [
    lambda at: block("east", UNKNOWN, at, "panel"),
    lambda at: block("far-east", UNKNOWN, at, "panel"),
    lambda at: proved(63, Position.UNKNOWN, at, "panel"),
    lambda at: proved(63, Position.MOVING, at, "panel"),
    lambda at: lost("panel", at),
    lambda at: lost("tower", at),
    lambda at: node("far", LinkState.LOST, at),
    lambda at: node("bench", LinkState.LOST, at),
    lambda at: power("main", PowerState.OFF, at, "panel"),
    lambda at: power("main", PowerState.SHORTED, at, "panel"),
]

MANY: Final = written(
    {
        "A1": "ahead: [{turnouts: {63: normal}, blocks: [east], next: A2}, {turnouts: {63: reverse}, "
        "blocks: [far-east], beyond: restricting}]",
        "A2": "ahead: [{blocks: [far-east], next: A3}], commands: {61: {normal: approach, reverse: clear}}",
        "A3": "commands: {62: {normal: stop, reverse: clear}}",
        "H": "buttons: {held: {crash: stop, slow: approach}, otherwise: clear}",
        "F": "follows: A3",
        "T": "table: [{when: {61: normal, 62: normal}, show: stop}, {when: {61: reverse}, show: approach}, "
        "{when: {62: reverse}, show: clear}]",
    },
    "districts: {main: {settle: 2 s}}\nblocks: {east: {clear-after: 0 s, district: main}, "
    "far-east: {clear-after: 0 s}}\nturnouts: {63: {feedback: true}}\n",
    {"A2": "far", "A3": "far"},
)


def no_single_fault_improves_a_signal() -> None:
    """In every state of a small layout, nothing that fails makes any of its signals show anything better."""
    names = ("A1", "A2", "A3", "H", "F", "T")
    fresh, engine = driven(MANY).snapshot(), driven(MANY)
    for bits in product([False, True], repeat=7):
        engine.restore(fresh)
        tell(
            engine,
            power("main", PowerState.ON, source="panel"),
            block("east", CLEAR if bits[0] else OCCUPIED, source="panel"),
            block("far-east", CLEAR if bits[1] else OCCUPIED, source="tower"),
            proved(63, NORMAL if bits[2] else REVERSE, source="panel"),
            order(61, REVERSE if bits[3] else NORMAL, source="tower"),
            order(62, REVERSE if bits[4] else NORMAL, source="panel"),
            button("crash", ButtonState.PRESSED if bits[5] else ButtonState.RELEASED, source="panel"),
            button("slow", ButtonState.PRESSED if bits[6] else ButtonState.RELEASED, source="tower"),
        )
        run_to(engine, 5 * SECOND)
        good, before = engine.snapshot(), shown(engine, *names)
        for fault in FAULTS:
            engine.restore(good)
            engine.handle(fault(5 * SECOND))
            run_to(engine, 6 * SECOND)
            for name, was, now in zip(names, before, shown(engine, *names), strict=True):
                assert RANKS[now] <= RANKS[was], (name, was, now, bits)


def a_dead_node_ahead_improves_nothing_in_rear() -> None:
    """With the node of the next signal off-line, its red may be dark: the signal in rear does not improve."""
    engine = line_clear()
    tell(engine, order(61, NORMAL, 10 * SECOND), node("far", LinkState.LOST, 11 * SECOND))
    assert ["approach"] == shown(engine, "A1")
    tell(engine, order(61, REVERSE, 12 * SECOND))
    assert ["approach"] == shown(engine, "A1")


def an_unknown_number_is_ignored() -> None:
    """An aspect number that means nothing to a signal changes nothing, and is no loss of the last one either."""
    engine = driven(CLOSED)
    tell(engine, number_ordered(37, 15), number_ordered(37, 16), number_ordered(37, 255))
    assert ["clear"] == shown(engine, "N")
    tell(engine, number_ordered(37, 0), number_ordered(37, 1))
    assert ["stop"] == shown(engine, "N")


def a_kept_copy_fills_in_what_is_unknown() -> None:
    """A broker that comes back gives copies of what detectors said: they count, in time, until one speaks."""
    engine = east_clear()
    tell(engine, lost("bus", 10 * SECOND), heard("bus", 11 * SECOND), kept_block("east", CLEAR, 12 * SECOND))
    assert ["stop"] == shown(engine, "A1")
    run_to(engine, 14 * SECOND)
    assert ["clear"] == shown(engine, "A1")
    tell(engine, block("east", OCCUPIED, 15 * SECOND), kept_block("east", CLEAR, 16 * SECOND))
    run_to(engine, 60 * SECOND)
    assert ["stop"] == shown(engine, "A1")


class Rule(NamedTuple):
    """A rule: where it is published, its check, and what breaks it."""

    source: str
    check: Callable[[], None]
    breaks: tuple[Break, ...]


RULES: Final = (
    Rule(
        "common practice, no source; 49 CFR 236.205 for what it guards",
        occupied_counts_at_once,
        (delays(OCCUPIED, 100 * MILLISECOND),),
    ),
    Rule(
        "common practice, no source: 0.5 to 3 s",
        clear_counts_after_a_while,
        (delays(CLEAR, 0), delays(CLEAR, SECOND), delays(CLEAR, 2 * SECOND)),
    ),
    Rule("49 CFR 236.309", a_short_loss_changes_nothing, (delays(CLEAR, 0),)),
    Rule("common practice, no source", contact_again_starts_the_wait_anew, (waits_on, delays(CLEAR, 0))),
    Rule("49 CFR 236.813a, 236.51", unknown_is_as_good_as_occupied, (trusts_at_once,)),
    Rule("49 CFR 236.5", a_lost_detector_is_unknown, (remembers_all, trusts_at_once)),
    Rule("common practice, no source: 5 to 20 ms", contacts_bounce, (never_bounces,)),
    Rule(
        "49 CFR 236.205, 236.24; for four aspects the Network Rail glossary",
        the_sequence_of_a_line,
        (copies_the_next,),
    ),
    Rule("49 CFR 236.5", loss_of_information_is_restrictive, (remembers_all, obeys_the_lost)),
    Rule(
        "49 CFR 236.205",
        a_signal_into_what_is_not_clear_stops,
        (only_first_blocks, trusts_at_once, believes_orders),
    ),
    Rule("49 CFR 236.303", a_switch_has_to_be_proved, (believes_orders,)),
    Rule("49 CFR 236.204", a_train_tumbles_opposing_signals_down, (only_first_blocks,)),
    Rule("49 CFR 236.307, 236.23(f)", no_single_fault_improves_a_signal, (trusts_at_once,)),
    Rule("49 CFR 236.307, 236.5", a_dead_node_ahead_improves_nothing_in_rear, (believes_dead_nodes,)),
    Rule("NEM 672, note 3", an_unknown_number_is_ignored, (stops_at_strange_numbers,)),
    Rule("49 CFR 236.5", a_kept_copy_fills_in_what_is_unknown, (obeys_copies, delays(CLEAR, 0))),
)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.check.__name__} ({rule.source})")
def test_rule_is_kept(rule: Rule) -> None:
    """Each rule holds."""
    rule.check()


@pytest.mark.parametrize(
    ("rule", "broken"),
    [
        pytest.param(rule, broken, id=f"{rule.check.__name__}-{number}")
        for rule in RULES
        for number, broken in enumerate(rule.breaks)
    ],
)
def test_a_broken_rule_is_seen(rule: Rule, broken: Break, monkeypatch: pytest.MonkeyPatch) -> None:
    """With its rule broken in the code, each check fails."""
    broken(monkeypatch)
    with pytest.raises(AssertionError):
        rule.check()
