"""Tables over the positions of several accessories, row by row."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product
from typing import Final

import pytest

from bridge.events import AccessoryOrdered, Authority, Position
from tests.support.driving import NORMAL, REVERSE, copy, heard, lost, order
from tests.support.tracks import driven, shown, tell, why, written

ENTRY: Final = written(
    {
        "C": "table: [{when: {61: normal, 62: any}, show: stop}, {when: {61: reverse, 62: normal}, show: approach}, "
        "{when: {62: reverse, 63: thrown}, show: clear}]",
        "D": "table: [{when: {64: closed}, show: clear}, {when: {}, show: approach}]",
    }
)

ROWS: Final = {
    # the positions of 61, 62 and 63, as they were ordered last: the aspect
    (NORMAL, None, None): "stop",
    (NORMAL, NORMAL, NORMAL): "stop",
    (NORMAL, REVERSE, REVERSE): "stop",
    (REVERSE, NORMAL, None): "approach",
    (REVERSE, NORMAL, REVERSE): "approach",
    (REVERSE, REVERSE, REVERSE): "clear",
    (REVERSE, REVERSE, NORMAL): "stop",  # no row fits
    (None, None, None): "stop",
    (None, NORMAL, NORMAL): "stop",
    (None, REVERSE, REVERSE): "stop",  # the first row may fit
    (REVERSE, None, None): "stop",
    (REVERSE, None, REVERSE): "stop",  # the second row may fit
    (REVERSE, REVERSE, None): "stop",  # the third row may fit
}


def orders(positions: tuple[Position | None, ...]) -> list[AccessoryOrdered]:
    """Return the orders that bring about some positions of 61, 62 and 63."""
    return [order(61 + place, each) for place, each in enumerate(positions) if each is not None]


@pytest.mark.parametrize(("positions", "aspect"), ROWS.items())
def test_the_first_row_that_fits_counts(positions: tuple[Position | None, ...], aspect: str) -> None:
    """In whatever order the accessories were ordered, the first row that fits counts; in doubt the worst."""
    for sequence in permutations(orders(positions)):
        engine = driven(ENTRY)
        tell(engine, *sequence)
        assert [aspect] == shown(engine, "C")


def certain(a: Position, b: Position, c: Position) -> str:
    """Return what the table says of C where all is known, written as an operator would say it."""
    if a is NORMAL:
        return "stop"
    if b is NORMAL:
        return "approach"
    return "clear" if c is REVERSE else "stop"


@pytest.mark.parametrize("positions", list(product([None, NORMAL, REVERSE], repeat=3)))
def test_no_better_than_wherever_the_unknown_ones_may_stand(positions: tuple[Position | None, ...]) -> None:
    """A table shows nothing that is better than what it would show, wherever the accessories stand that are unknown."""
    engine = driven(ENTRY)
    tell(engine, *orders(positions))
    possible = {
        certain(*guess) for guess in product(*([each] if each else [NORMAL, REVERSE] for each in positions))
    }
    right = possible.pop() if len(possible) == 1 else "stop"
    assert shown(engine, "C")[0] in ("stop", right)
    if None not in positions:
        assert [right] == shown(engine, "C")


def test_a_row_without_positions_is_for_all_else() -> None:
    """A last row that asks for nothing fits whatever was ordered, once the rows before it do not."""
    engine = driven(ENTRY)
    assert ["stop"] == shown(engine, "D")
    assert "it is not known where accessory 64 was ordered" == why(engine, "D")

    tell(engine, order(64, REVERSE))
    assert ["approach"] == shown(engine, "D")
    assert "no other row of its table fits" == why(engine, "D")


@pytest.mark.parametrize("position", [Position.MOVING, Position.UNKNOWN])
def test_what_cannot_be_ordered_fits_no_row_and_rules_out_none(position: Position) -> None:
    """A position that can only be proved, ordered by mistake, is not known: no row below is looked at."""
    engine = driven(ENTRY)
    tell(engine, order(64, position))
    assert ["stop"] == shown(engine, "D")


def test_kept_copies_fill_in_a_table_in_any_order() -> None:
    """After a broker came back each accessory's kept copy counts, whichever comes first, and none undoes an order."""
    for sequence in permutations([copy(61, REVERSE, 3), copy(62, REVERSE, 3), copy(63, REVERSE, 3)]):
        engine = driven(ENTRY)
        tell(
            engine,
            *orders((REVERSE, REVERSE, REVERSE)),
            lost(at=1),
            heard(at=2),
        )
        assert ["stop"] == shown(engine, "C")
        tell(engine, sequence[0], sequence[1])
        assert ["stop"] == shown(engine, "C")
        tell(engine, sequence[2])
        assert ["clear"] == shown(engine, "C")

    tell(engine, order(61, NORMAL, 4), copy(61, REVERSE, 5))
    assert ["stop"] == shown(engine, "C")
    assert "accessory 61 was ordered normal" == why(engine, "C")


def test_restored_orders_fill_in_the_table_of_a_signal_that_wants_them() -> None:
    """One that begins anew stays as it is; one that wants its orders back has them before any copy, until a command."""
    row = "table: [{when: {61: reverse}, show: clear}]"
    engine = driven(written({"NEW": row, "BACK": f"{row}, at-start: restored"}))
    tell(engine, replace(order(61, REVERSE), authority=Authority.RESTORED))
    assert ["stop", "clear"] == shown(engine, "NEW", "BACK")
    tell(engine, copy(61, NORMAL))
    assert ["stop", "clear"] == shown(engine, "NEW", "BACK")
    assert [("accessory", 61, "reverse", "panel")] == engine.orders()
    tell(engine, order(61, NORMAL), order(61, REVERSE))
    assert ["clear", "clear"] == shown(engine, "NEW", "BACK")
    tell(engine, lost())
    assert ["stop", "stop"] == shown(engine, "NEW", "BACK")
    assert "it is not known where accessory 61 was ordered: panel was lost" == why(engine, "BACK")
    assert [] == engine.orders()
