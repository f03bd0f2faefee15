"""Signals that go by each other in a ring come to rest, and at once."""

from __future__ import annotations

import json
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import SECOND, BlockState
from bridge.logic.circles import FIRST_LOOK, Circles
from tests.support.driving import NORMAL, REVERSE, layout, order
from tests.support.tracks import CLEAR, OCCUPIED, all_clear, block, driven, run_to, shown, tell, why, written

SEQUENCES: Final = {
    2: ("stop", "clear"),
    3: ("stop", "approach", "clear"),
    4: ("stop", "restricting", "approach", "clear"),
}


def oval(signals: int, aspects: int, repeaters: int = 0) -> str:
    """Return an oval of block signals; the first looks at the next through a row of repeaters."""
    sequence = ", ".join(SEQUENCES[aspects])
    entries = {}
    for place in range(signals):
        after = f"A{(place + 1) % signals}"
        seen = f"R{repeaters - 1}" if place == 0 and repeaters else after
        entries[f"A{place}"] = f"sequence: [{sequence}], ahead: [{{blocks: [b{place}], next: {seen}}}]"
    for place in range(repeaters):
        after = f"R{place - 1}" if place else f"A{1 % signals}"
        entries[f"R{place}"] = f"sequence: [{sequence}], follows: {after}"
    blocks = ", ".join(f"b{place}: {{clear-after: 0 s}}" for place in range(signals))
    return written(entries, f"blocks: {{{blocks}}}\n")


def by_hand(states: list[BlockState], aspects: int) -> list[str]:
    """Count the clear sections ahead of each signal of an oval, which is all that automatic signalling does."""
    count = len(states)
    found = []
    for place in range(count):
        clear = 0
        while clear < aspects and states[(place + clear) % count] is CLEAR:
            clear += 1
        found.append(SEQUENCES[aspects][min(clear, aspects - 1)])
    return found


@pytest.mark.parametrize("aspects", SEQUENCES)
@pytest.mark.parametrize("signals", [1, 2, 3, 5, 12])
def test_an_empty_oval_shows_clear_all_round(signals: int, aspects: int) -> None:
    """Once the last block is clear every signal of an oval is at its best, however short the oval is."""
    engine = driven(oval(signals, aspects))
    names = [f"A{place}" for place in range(signals)]

    assert ["stop"] * signals == shown(engine, *names)
    tell(engine, *all_clear(f"b{place}" for place in range(signals)))

    assert ["clear"] * signals == shown(engine, *names)


@given(
    st.integers(1, 7),
    st.sampled_from([2, 3, 4]),
    st.lists(st.tuples(st.integers(0, 6), st.sampled_from(BlockState)), max_size=30),
)
def test_an_oval_counts_the_clear_sections_ahead(
    signals: int, aspects: int, reports: list[tuple[int, BlockState]]
) -> None:
    """Whatever its blocks did before, each signal of an oval shows what the count of clear sections ahead says."""
    engine = driven(oval(signals, aspects))
    states = [BlockState.UNKNOWN] * signals
    for place, state in reports:
        states[place % signals] = state
        engine.handle(block(f"b{place % signals}", state))

        assert by_hand(states, aspects) == shown(engine, *(f"A{each}" for each in range(signals)))


@given(st.integers(2, 6), st.data())
def test_nothing_improves_while_a_block_that_it_needs_is_unknown(signals: int, data: st.DataObject) -> None:
    """While one block of an oval is unknown its signal stays at stop, whatever the others do."""
    engine = driven(oval(signals, 3))
    unknown = data.draw(st.integers(0, signals - 1))
    known = [place for place in range(signals) if place != unknown]
    for place, state in data.draw(
        st.lists(st.tuples(st.sampled_from(known), st.sampled_from([CLEAR, OCCUPIED])))
    ):
        engine.handle(block(f"b{place}", state))
        assert ["stop"] == shown(engine, f"A{unknown}")
        assert "it is not known whether block" in why(engine, f"A{unknown}")


@pytest.mark.parametrize("repeaters", [1, 7, 40])
def test_a_long_row_of_repeaters_within_a_ring_is_no_circle(repeaters: int) -> None:
    """What goes round an oval through many repeaters takes many rounds, and still comes to rest at clear."""
    engine = driven(oval(1, 4, repeaters))
    tell(engine, *all_clear(["b0"]))

    assert ["clear"] * (1 + repeaters) == shown(engine, "A0", *(f"R{place}" for place in range(repeaters)))

    engine.handle(block("b0", OCCUPIED))
    assert ["stop"] * (1 + repeaters) == shown(engine, "A0", *(f"R{place}" for place in range(repeaters)))


CONTRARY: Final = written(
    {
        "A": "ahead: [{blocks: [west], next: B, shows: {stop: clear, clear: stop, approach: stop, restricting: stop}}]",
        "B": "follows: A",
        "C": "follows: A",
        "D": "ahead: [{blocks: [east], next: A, shows: {stop: approach, clear: approach}}]",
        "E": "commands: {61: {normal: stop, reverse: clear}}",
    },
    "blocks: {east: {clear-after: 0 s}, west: {clear-after: 0 s}}\n",
)


def test_signals_that_contradict_each_other_stop() -> None:
    """Where a table makes two signals change each other for ever, both stop and say so, and nobody else is stopped."""
    engine = driven(CONTRARY)
    tell(engine, block("west", CLEAR), block("east", CLEAR), order(61, REVERSE))

    assert ["stop", "stop", "stop", "approach", "clear"] == shown(engine, *"ABCDE")
    assert "it and the signals that it goes by would change each other for ever" == why(engine, "A")


def test_signals_that_contradict_each_other_stop_after_a_restart_too() -> None:
    """A snapshot knows which signals gave up choosing: after it they show the same, for the same reason."""
    engine, resumed = driven(CONTRARY), Engine(layout(CONTRARY))
    tell(engine, block("west", CLEAR))
    resumed.restore(json.loads(json.dumps(engine.snapshot())))

    assert engine.choices() == resumed.choices()
    assert engine.snapshot() == resumed.snapshot()
    assert tell(engine, order(61, REVERSE), order(61, NORMAL)) == tell(
        resumed, order(61, REVERSE), order(61, NORMAL)
    )


def test_an_oval_costs_no_more_than_its_signals() -> None:
    """A train that goes round an oval of a hundred signals changes three aspects a step, and nothing else is told."""
    engine = driven(oval(100, 3))
    tell(engine, *all_clear(f"b{place}" for place in range(100)))
    engine.handle(block("b50", OCCUPIED))
    names = [f"A{place}" for place in range(100)]
    before = shown(engine, *names)

    tell(engine, block("b51", OCCUPIED, SECOND), block("b50", CLEAR, SECOND))
    run_to(engine, 2 * SECOND)

    changed = [
        (name, now) for name, was, now in zip(names, before, shown(engine, *names), strict=True) if was != now
    ]
    assert [("A49", "clear"), ("A50", "approach"), ("A51", "stop")] == changed


def walked(tail: int, length: int) -> int:
    """Walk a tail and then a circle until the circle is found; return after how many rounds."""
    place = 0
    circles = Circles(lambda: [place])
    for rounds in range(1, 10_000):
        place = place + 1 if place < tail + length - 1 else tail
        if circles.after({place}, {1}):
            return rounds
    return 0


@pytest.mark.parametrize("tail", [0, 1, 7, 8, 9, 100])
@pytest.mark.parametrize("length", [1, 2, 3, 8, 17, 100])
def test_a_circle_of_any_length_is_found(tail: int, length: int) -> None:
    """A circle is found after a tail of any length, no later than four times the two together."""
    found = walked(tail, length)
    assert FIRST_LOOK < found <= max(4 * (tail + length), 2 * FIRST_LOOK + length)


def test_what_never_comes_back_is_no_circle() -> None:
    """However long it takes, nothing is called a circle in which no state comes again."""
    steps = iter(range(100_000))
    circles = Circles(lambda: [next(steps)])
    assert all(not circles.after({1}, {1}) for _ in range(10_000))


def test_only_what_turns_is_named() -> None:
    """Of a circle those are named that were given something else on the way, and not all that were asked."""
    circles = Circles(lambda: [0])
    found = [circles.after({9} if turn < FIRST_LOOK else {1 + turn % 2}, {1, 2, 3}) for turn in range(9)]
    assert [set()] * FIRST_LOOK + [{1}] == found
