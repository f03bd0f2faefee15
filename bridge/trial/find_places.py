"""What is still possible for each chip: where on the line it is, and how its bytes reach its lights.

Enumerating whole chains is out of the question: a hundred chips have more orders than there are atoms. But a chip
says by its own lights alone where it is, whatever the others do: a byte that was lit in pictures 2 and 5 and dark
in all others can only belong to what was seen in 2 and 5 and in no other. So each chip has a table of its own, a
row for each way of soldering it and a column for each byte at which it may begin, and every answer crosses out what
it cannot be. What is likely is reckoned anew from what has been found of the neighbours; it decides what is asked
next and what is listed as expected, and never what is true.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bridge.trial.find_sights import NOWHERE, Masks, Pattern, Sights, broken_pattern, soldering_of

Flags: TypeAlias = NDArray[np.bool_]

# How likely things are beside each other; only their ratios count. Their products stay so small that squares of sums
# fit into 64 bits with room for a scale. Common practice, no source.
_AS_SOLDERED_ELSEWHERE: Final = 64
_AS_IN_THE_FILE: Final = 32
_TWO_EXCHANGED: Final = 4
_BY_NEIGHBOURS: Final = 256
_BY_NEIGHBOURS_TURNED_ROUND: Final = 24
_PLACE_IN_THE_FILE: Final = 64
_NEAR: Final = 4
_DARK: Final = 256
_MISTAKEN: Final = 32  # one answer in so many is wrong
_DARK_AMONG_DARK: Final = 16_384


_NEVER: Final = 10_000


class State(Enum):
    """What a chip does."""

    LIGHTS = "lights"  # it shows what the line brings it
    DARK = "dark"  # nothing of it was ever seen
    WITHOUT_DATA = "without data"  # it shows all the time what it shows without data


@dataclass(frozen=True, slots=True)
class Seen:
    """What the owner saw of one picture.

    Attributes:
        lit: the numbers of the sights that were lit.
        unsure: the numbers of those of which the owner could not say.
        other: whether a light was lit that the file does not have.
    """

    lit: frozenset[int]
    unsure: frozenset[int] = frozenset()
    other: bool = False


@dataclass(frozen=True, slots=True)
class Guess:
    """What a chip most likely is.

    Attributes:
        state: what it does.
        offset: the first byte of it; `NOWHERE` if it is dark.
        soldering: index in the solderings of its pattern.
        weight: how likely it is.
        others: how likely all else is, by the same measure; 0 where nothing else is possible.
        likely: the first byte of it if it lights; `NOWHERE` if that is impossible.
    """

    state: State
    offset: int
    soldering: int
    weight: int
    others: int
    likely: int


class Group:
    """The tables of all chips with one pattern.

    Attributes:
        pattern: theirs.
        members: their numbers on the chain of the file.
        misfits: how many answers speak against: chip, soldering, offset.
        dark_misfits: how many speak against a chip's being dark.
        alive: what is possible by the chip's own lights: chip, soldering, offset.
        possible: what of it is possible beside the chips whose place is certain.
        dark: chips that may be dark.
        without_data: chips that may be lit without data.
        prior: how likely each would be if nothing had been seen of the chip itself.
        weights: the same, and 0 for what is not possible.
        dark_weights: the same of `dark`.
        without_data_weights: the same of `without_data`.
    """

    def __init__(self, sights: Sights, pattern: Pattern, members: Sequence[int]) -> None:
        self.pattern = pattern
        self.members = tuple(members)
        count, starts = len(members), len(sights.offsets)
        self.misfits: NDArray[np.int16] = np.zeros((count, len(pattern.solderings), starts), dtype=np.int16)
        self.misfits[:, :, sights.offsets > sights.length - pattern.bytes] = _NEVER
        self.alive: Flags = self.misfits == 0
        self.possible = self.alive
        self.dark_misfits: Masks = np.zeros(count, dtype=np.int64)
        self.dark: Flags = np.ones(count, dtype=np.bool_)
        self.without_data: Flags = np.full(count, pattern.without_data != 0, dtype=np.bool_)
        self._sights = [sights.places[member].sights for member in members]
        self._shared: Masks = np.array([sights.places[member].shared for member in members], dtype=np.int64)
        self.prior: Masks = np.zeros(self.alive.shape, dtype=np.int64)
        self.weights: Masks = np.zeros(self.alive.shape, dtype=np.int64)
        self.dark_weights: Masks = np.zeros(count, dtype=np.int64)
        self.without_data_weights: Masks = np.zeros(count, dtype=np.int64)

    def fitting(self, windows: Masks, seen: Seen) -> tuple[Flags, Flags, Flags]:
        """Return what fits one answer: of `alive`, `dark` and `without_data`.

        A sight that other chips light as well proves nothing by being lit; that it is dark proves as much as ever.
        """
        lit, unsure = self._masks(seen.lit), self._masks(seen.unsure)
        strict, loose = ~unsure & ~self._shared, ~unsure & self._shared
        shown = self.pattern.table[:, windows]

        def fits(predicted: Masks, lit: Masks, strict: Masks, loose: Masks) -> Flags:
            wrong: Masks = (predicted ^ lit) & strict | predicted & ~lit & loose
            found: Flags = wrong == 0
            return found

        wide = [each[:, None, None] for each in (lit, strict, loose)]
        nothing, idle = np.zeros_like(lit), np.full_like(lit, self.pattern.without_data)
        return (
            fits(shown[None], wide[0], wide[1], wide[2]),
            fits(nothing, lit, strict, loose),
            fits(idle, lit, strict, loose),
        )

    def _masks(self, numbers: frozenset[int]) -> Masks:
        return np.array(
            [
                sum(1 << local for local, number in enumerate(own) if number in numbers)
                for own in self._sights
            ],
            dtype=np.int64,
        )


class Knowledge:
    """What is possible, and what of it is likely.

    Attributes:
        sights: what can be seen.
        groups: the chips that have something to show, by pattern.
        guesses: for each chip of the file what it most likely is; None for one that has nothing to show.
        broken: chips of which also those solderings are looked at where something is broken.
    """

    def __init__(self, sights: Sights, broken: frozenset[int] = frozenset()) -> None:
        self.sights = sights
        self.broken = broken
        members: dict[int, list[int]] = {}
        patterns: dict[int, Pattern] = {}
        for number, place in enumerate(sights.places):
            if place.sights:
                # The same pattern is the same object; a number of its own keeps the order of the chain.
                known = [key for key, each in patterns.items() if each is place.pattern]
                key = -1 - number if number in broken else known[0] if known else number
                patterns[key] = broken_pattern(place.pattern) if number in broken else place.pattern
                members.setdefault(key, []).append(number)
        self.groups = [Group(sights, patterns[key], own) for key, own in members.items()]
        self._within = {
            member: (group, row) for group in self.groups for row, member in enumerate(group.members)
        }
        self._file_soldering = {member: self._as_in_file(member) for member in self._within}
        self.guesses: list[Guess | None] = [None] * len(sights.places)
        self._anchors: dict[int, int] = {}
        self.reckon(frozenset())

    def windows(self, bits: Masks, group: Group) -> Masks:
        """Return, for each offset, the bits of a picture that decide what a chip shows there."""
        padded = np.concatenate((bits, np.zeros(2 * self.sights.widest, dtype=np.int64)))
        found = np.zeros_like(self.sights.offsets)
        for byte in range(group.pattern.window):
            found |= padded[self.sights.offsets + byte] << byte
        return found

    def narrow(self, bits: Masks, seen: Seen) -> None:
        """Cross out what an answer excludes.

        Args:
            bits: of each byte of the picture, 1 if it was sent as 255, 0 if as 0.
            seen: what was seen.
        """
        for group in self.groups:
            alive, dark, without_data = group.fitting(self.windows(bits, group), seen)
            group.misfits += ~alive
            group.alive = group.misfits == 0
            group.dark_misfits += ~dark
            group.dark &= dark
            group.without_data &= without_data

    def nothing_fits(self) -> list[int]:
        """Return the chips for which no explanation is left: answers about them contradict each other."""
        return sorted(
            member
            for group in self.groups
            for row, member in enumerate(group.members)
            if not (group.dark[row] or group.without_data[row] or group.alive[row].any())
        )

    def pattern(self, member: int) -> Pattern:
        """Return the pattern by which a chip is looked at."""
        return self._within[member][0].pattern

    def row(self, member: int) -> tuple[Group, int]:
        """Return the group of a chip and its row there."""
        return self._within[member]

    def in_file(self, member: int) -> int:
        """Return the soldering that the file has, as an index."""
        return self._file_soldering[member]

    def _as_in_file(self, member: int) -> int:
        if member in self.broken:
            return NOWHERE  # nothing sound fits, so it is not as in the file
        place = self.sights.places[member]
        return soldering_of(place.pattern, place.channels)

    def doubtful(self) -> list[tuple[int, int, int]]:
        """Return what would be far likelier if just one answer were wrong.

        Returns:
            Chip, soldering and column of the offset, the most doubtful first.
        """
        found: list[tuple[int, tuple[int, int, int]]] = []
        for group in self.groups:
            for row, member in enumerate(group.members):
                guess = self.guesses[member]
                if guess is not None:
                    close = group.prior[row] * (group.misfits[row] == 1)
                    best = int(np.argmax(close))
                    soldering, column = divmod(best, close.shape[1])
                    weight = int(close[soldering, column])
                    if weight > _MISTAKEN * guess.weight:
                        found.append((weight // max(1, guess.weight), (member, soldering, column)))
        return [each for _ratio, each in sorted(found, reverse=True)]

    # What is likely.

    def anchors(self) -> dict[int, int]:
        """Return the first byte of each chip of which that is certain."""
        return self._anchors

    def _settle(self) -> None:
        """Find the chips whose place is certain, and with their help more of them.

        Where all chips are equally wide a chip can begin at whole chips only. Otherwise it might lie a byte beside its
        place by its own lights; but no chip lies across another, nor leaves a gap that no chips fill.
        """
        for group in self.groups:
            group.possible = group.alive
        found = self._certain()
        while len({place.pattern.bytes for place in self.sights.places}) > 1:
            before = found
            for group in self.groups:
                free = self._free(group.pattern.bytes, found)
                fixed = np.array([member in found for member in group.members], dtype=np.bool_)
                clear = group.possible & (free[None, None, :] | fixed[:, None, None])
                # Where nothing is left the answers are at odds; what a chip's own lights say then counts.
                some: NDArray[Any] = np.asarray(clear.any(axis=(1, 2)), dtype=np.bool_)
                group.possible = np.where(some[:, None, None], clear, group.possible)
            found = before | self._certain()
            if len(found) == len(before):
                break
        self._anchors = dict(sorted(found.items()))

    def _certain(self) -> dict[int, int]:
        found: dict[int, int] = {}
        for group in self.groups:
            offsets: NDArray[Any] = np.asarray(group.possible.any(axis=1), dtype=np.bool_)
            certain = (offsets.sum(axis=1, dtype=np.int64) == 1) & ~group.dark & ~group.without_data
            first = [int(np.argmax(row)) for row in offsets]
            for row in np.flatnonzero(certain):
                found[group.members[row]] = int(self.sights.offsets[first[row]])
        return found

    def _free(self, width: int, anchors: dict[int, int]) -> Flags:
        """Return the offsets at which a chip of a width may lie beside those that were found.

        Two chips may well lie on the very same bytes, where a line was forked, but then they are equally wide.
        """
        offsets = self.sights.offsets
        free: Flags = np.ones(len(offsets), dtype=np.bool_)
        taken = {start: self.sights.places[other].pattern.bytes for other, start in anchors.items()}
        if not taken:
            return free
        for start, wide in taken.items():
            across = (offsets < start + wide) & (offsets + width > start)
            free &= ~across | ((offsets == start) & (wide == width))
        starts: Masks = np.array([*sorted(taken), self.sights.length], dtype=np.int64)
        ends: Masks = np.array([0, *sorted(start + wide for start, wide in taken.items())], dtype=np.int64)
        before = offsets - ends[np.searchsorted(ends, offsets, side="right") - 1]
        upper = np.searchsorted(starts, offsets + width, side="left")
        after = np.where(upper < len(taken), starts[np.minimum(upper, len(taken))] - offsets - width, 0)
        same = np.isin(offsets, starts)
        fills: Flags = np.isin(np.arange(self.sights.length + 1, dtype=np.int64), self._sums())
        free &= same | (fills[before] & fills[np.maximum(after, 0)])
        return free

    def _sums(self) -> Masks:
        """Return the numbers of bytes that whole chips of this chain take."""
        sums = {0}
        widths = sorted({place.pattern.bytes for place in self.sights.places})
        for number in range(1, self.sights.length + 1):
            if any(number - width in sums for width in widths):
                sums.add(number)
        return np.array(sorted(sums), dtype=np.int64)

    def reckon(self, among_dark: Iterable[int]) -> None:
        """Work out anew what is likely.

        Args:
            among_dark: chips whose neighbours on the line were all found dark.
        """
        self._settle()
        anchors = self._anchors
        dark = dict.fromkeys(among_dark)
        popular = self._popular(anchors)
        for group in self.groups:
            likely = self._likely_offsets(group, anchors)
            for row, member in enumerate(group.members):
                group.prior[row] = likely[row][None, :] * self._likely_solderings(member, popular)[:, None]
                group.weights[row] = group.prior[row] * group.possible[row]
                weight = _DARK_AMONG_DARK if member in dark else _DARK
                group.dark_weights[row] = weight * group.dark[row]
                group.without_data_weights[row] = weight * group.without_data[row]
                self.guesses[member] = self._guess(group, row)

    def _guess(self, group: Group, row: int) -> Guess | None:
        weights = group.weights[row]
        best = int(np.argmax(weights))
        soldering, column = divmod(best, weights.shape[1])
        choices = [
            (int(weights[soldering, column]), State.LIGHTS, int(self.sights.offsets[column]), soldering),
            (int(group.dark_weights[row]), State.DARK, NOWHERE, 0),
            (int(group.without_data_weights[row]), State.WITHOUT_DATA, NOWHERE, 0),
        ]
        weight, state, offset, index = max(choices, key=lambda each: each[0])
        if not weight:
            return None
        total = int(weights.sum(dtype=np.int64)) + choices[1][0] + choices[2][0]
        likely = choices[0][2] if choices[0][0] else NOWHERE
        return Guess(state, offset, index, weight, total - weight, likely)

    def _kin(self, member: int) -> tuple[str, int, int]:
        place = self.sights.places[member]
        return (
            place.fixtures[0].build,
            place.chip.position - place.fixtures[0].positions[0],
            self.in_file(member),
        )

    def _popular(self, anchors: dict[int, int]) -> dict[tuple[str, int, int], int]:
        """Return, for chips of one build that the file has alike, how most of them were found to be soldered."""
        counts: dict[tuple[str, int, int], dict[int, int]] = {}
        for member in anchors:
            group, row = self._within[member]
            possible = np.flatnonzero(group.possible[row].any(axis=1))
            if len(possible) == 1 and member not in self.broken:
                votes = counts.setdefault(self._kin(member), {})
                votes[int(possible[0])] = votes.get(int(possible[0]), 0) + 1
        return {kin: max(votes, key=lambda each: votes[each]) for kin, votes in counts.items()}

    def _likely_solderings(self, member: int, popular: dict[tuple[str, int, int], int]) -> Masks:
        group, _row = self._within[member]
        usual = self.sights.places[member].channels
        weights: Masks = np.ones(len(group.pattern.solderings), dtype=np.int64)
        for index, soldering in enumerate(group.pattern.solderings):
            if sum(one != other for one, other in zip(soldering.channels, usual, strict=True)) == 2:
                weights[index] = _TWO_EXCHANGED
        if member not in self.broken:
            weights[self.in_file(member)] = _AS_IN_THE_FILE
            elsewhere = popular.get(self._kin(member))
            if elsewhere is not None:
                weights[elsewhere] = _AS_SOLDERED_ELSEWHERE
        return weights

    def _likely_offsets(self, group: Group, anchors: dict[int, int]) -> Masks:
        columns = {int(offset): column for column, offset in enumerate(self.sights.offsets)}
        weights: Masks = np.ones((len(group.members), len(columns)), dtype=np.int64)
        certain = list(anchors)
        length = self.sights.chain.length
        chips = [place.chip for place in self.sights.places]
        ends = [chip.offset + chip.type.channels for chip in chips]

        def add(row: int, offset: int, weight: int) -> None:
            column = columns.get(offset)
            if column is not None:
                weights[row, column] += weight

        position = 0
        for row, member in enumerate(group.members):
            own = chips[member].offset
            while position < len(certain) and certain[position] < member:
                position += 1
            before = certain[position - 1] if position else None
            following = certain[position:][:2]
            after = next((each for each in following if each != member), None)
            turned = before is not None and after is not None and anchors[after] < anchors[before]
            along, against = (
                (_BY_NEIGHBOURS_TURNED_ROUND, _BY_NEIGHBOURS)
                if turned
                else (_BY_NEIGHBOURS, _BY_NEIGHBOURS_TURNED_ROUND)
            )
            if before is not None:
                add(row, anchors[before] + own - chips[before].offset, along)
                add(row, anchors[before] - (ends[member] - ends[before]), against)
            if after is not None:
                add(row, anchors[after] - (chips[after].offset - own), along)
                add(row, anchors[after] + ends[after] - ends[member], against)
            add(row, own, _PLACE_IN_THE_FILE)
            add(row, length - ends[member], _NEAR)
            for near in (member - 1, member + 1):
                if 0 <= near < len(chips):
                    add(row, chips[near].offset, _NEAR)
        return weights
