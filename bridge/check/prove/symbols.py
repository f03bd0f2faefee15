"""Variables of decision diagrams that stand for one value out of a few."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from typing import Final

from oxidd.bdd import BDDFunction, BDDManager, BDDSubstitution
from oxidd.util import BooleanOperator

AND: Final = BooleanOperator.AND
MOST_NODES: Final = 4_000_000
"""Nodes of all diagrams together, some 20 bytes each."""


class Variables:
    """Where all variables are made, each next to the one that holds its value after a step, if it has such.

    Attributes:
        true: what is always so.
        false: what is never so.
    """

    def __init__(self) -> None:
        # One thread: what comes out has to be the same every time, to the last node.
        self.manager = BDDManager(MOST_NODES, max(MOST_NODES // 4, 1024), 1)
        self.true = self.manager.true()
        self.false = self.manager.false()
        self._settings: dict[tuple[tuple[int, bool], ...], tuple[BDDFunction, BDDFunction]] = {}
        self._literals: list[tuple[BDDFunction, BDDFunction]] = []

    def bit(self) -> int:
        """Make one variable, below all others."""
        (number,) = self.manager.add_vars(1)
        self._literals.append((self.manager.not_var(number), self.manager.var(number)))
        return number

    def is_(self, bit: int, value: bool) -> BDDFunction:
        """Return that a variable has a value."""
        return self._literals[bit][value]

    def cube(self, bits: Iterable[int]) -> BDDFunction:
        """Return variables as the set that operations take."""
        return self.every(self.is_(bit, True) for bit in bits)

    def every(self, parts: Iterable[BDDFunction]) -> BDDFunction:
        """Return that all of it is so."""
        found = self.true
        for part in parts:
            found &= part
        return found

    def some(self, parts: Iterable[BDDFunction]) -> BDDFunction:
        """Return that any of it is so; taken two by two, which keeps the diagrams on the way small."""
        left = list(parts) or [self.false]
        while len(left) > 1:
            left = [
                left[place] | left[place + 1] if place + 1 < len(left) else left[place]
                for place in range(0, len(left), 2)
            ]
        return left[0]

    def put(self, states: BDDFunction, values: Mapping[int, bool]) -> BDDFunction:
        """Return states with variables set, whatever they were."""
        if not values:
            return states
        which, said = self._said(values)
        return states.exists(which) & said

    def before_put(self, states: BDDFunction, values: Mapping[int, bool]) -> BDDFunction:
        """Return the states of which `put` makes these."""
        if not values:
            return states
        which, said = self._said(values)
        return states.apply_exists(AND, said, which)

    def _said(self, values: Mapping[int, bool]) -> tuple[BDDFunction, BDDFunction]:
        key = tuple(values.items())
        if key not in self._settings:
            self._settings[key] = (
                self.cube(values),
                self.every(self.is_(bit, value) for bit, value in values.items()),
            )
        return self._settings[key]

    def renaming(self, pairs: Iterable[tuple[int, int]]) -> BDDSubstitution:
        """Return how to put one variable in the place of another."""
        return BDDFunction.make_substitution((old, self.is_(new, True)) for old, new in pairs)


class Field:
    """A thing that has one of a few values.

    Attributes:
        values: what it may be.
        bits: its variables.
        then: those that hold its value after a step; none where no step changes it.
    """

    def __init__(self, made: Variables, values: Sequence[Hashable], *, steps: bool = False) -> None:
        """Make its variables; with `steps`, also those for its value after a step."""
        self.values = tuple(values)
        self._made = made
        self.bits: list[int] = []
        self.then: list[int] = []
        for _ in range((len(self.values) - 1).bit_length()):
            self.bits.append(made.bit())
            if steps:
                self.then.append(made.bit())
        self._is = {value: self._code(value, self.bits) for value in self.values}
        self._will_be = {value: self._code(value, self.then) for value in self.values} if steps else {}

    def is_(self, value: Hashable) -> BDDFunction:
        """Return that it has this value."""
        return self._is[value]

    def will_be(self, value: Hashable) -> BDDFunction:
        """Return that it has this value after the step."""
        return self._will_be[value]

    def among(self, values: Iterable[Hashable]) -> BDDFunction:
        """Return that it has one of these values."""
        return self._made.some(self._is[value] for value in values)

    def setting(self, value: Hashable) -> dict[int, bool]:
        """Return the variables by which it has this value."""
        return dict(zip(self.bits, self._values_of(value), strict=True))

    def read(self, state: Sequence[bool | None]) -> Hashable:
        """Return its value in one state."""
        place = sum(bool(state[bit]) << power for power, bit in enumerate(self.bits))
        return self.values[place]

    def _code(self, value: Hashable, bits: list[int]) -> BDDFunction:
        return self._made.every(
            self._made.is_(bit, on) for bit, on in zip(bits, self._values_of(value), strict=True)
        )

    def _values_of(self, value: Hashable) -> Iterator[bool]:
        place = self.values.index(value)
        return (bool(place >> power & 1) for power in range(len(self.bits)))
