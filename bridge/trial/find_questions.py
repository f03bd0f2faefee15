"""Which picture tells most: a few bytes, one after the other, each that which splits best what is still possible.

A picture never lights two bytes of one chip, so that no colours mix, and never more bytes than the owner can take
in. How well a byte splits is reckoned without logarithms: the chance that two guesses drawn by their weights would
be told apart by what is seen (the Gini index, here in whole numbers), summed over chips. Where the file is most
likely right this prefers the byte that would show most of what could be wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from bridge.trial.find_places import Group, Guess, Knowledge, State
from bridge.trial.find_sights import NOWHERE, Masks

_SCALE: Final = 1 << 24
_LOOKED_AT: Final = 4
"""For so many chips a byte of a picture the splits are worked out: enough to choose from, and quick on a long chain."""

_CELLS: Final = 60_000
"""And so many rows times columns of their tables, where chips of different width make these large."""

_MASKS: Final = 16
"""A chip has four channels at the most, so there are so many sets of its sights."""


def rest_bits(knowledge: Knowledge) -> Masks:
    """Return the picture in which nothing is lit, as far as is known: 255, and so 1, where a channel is inverted."""
    bits: Masks = np.zeros(knowledge.sights.length, dtype=np.int64)
    for member, guess in enumerate(knowledge.guesses):
        if guess is not None and guess.state is State.LIGHTS:
            pattern = knowledge.pattern(member)
            for byte, channel in enumerate(pattern.solderings[guess.soldering].channels):
                if pattern.inverted[channel]:
                    bits[guess.offset + byte] = 1
    return bits


def spread(count: int) -> list[int]:
    """Return for each of so many chips its turn: ends first, then middles, so that a fault in the line shows early."""
    turns: dict[int, int] = {}
    if count:
        turns[0] = 0
        turns[count - 1] = 1 % count
    step = count - 1
    while len(turns) < count:
        step = max(1, (step + 1) // 2)
        for place in range(0, count, step):
            turns.setdefault(place, len(turns))
    return [turns[place] for place in range(count)]


def choose(knowledge: Knowledge, open_ones: Sequence[int], asked: Sequence[Masks], most: int) -> list[int]:
    """Choose the bytes to light next.

    Args:
        knowledge: what is possible.
        open_ones: the chips that are to be found out about.
        asked: the bits of all pictures so far.
        most: how many bytes may be lit.

    Returns:
        The bytes; none if no picture would tell anything.
    """
    looked_at = _worth_looking_at(knowledge, open_ones, asked, most * _LOOKED_AT)
    tables = [
        (group, [row for row, member in enumerate(group.members) if member in looked_at])
        for group in knowledge.groups
    ]
    bits = rest_bits(knowledge)
    allowed = np.ones(knowledge.sights.length, dtype=np.bool_)
    chosen: list[int] = []
    while len(chosen) < most:
        gains: Masks = np.zeros(knowledge.sights.length, dtype=np.int64)
        for group, rows in tables:
            if rows:
                gains += _gains(knowledge, group, rows, bits)
        gains *= allowed
        best = int(np.argmax(gains))
        if not gains[best]:
            break
        chosen.append(best)
        bits[best] ^= 1
        allowed[_same_chip(knowledge, best)] = False
    return sorted(chosen)


def _same_chip(knowledge: Knowledge, byte: int) -> slice:
    """Return all bytes that might belong to the chip of a byte."""
    sights = knowledge.sights
    widths = {place.pattern.bytes for place in sights.places}
    if len(widths) == 1:
        start = byte - byte % sights.widest
        return slice(start, start + sights.widest)
    return slice(max(0, byte - sights.widest + 1), byte + sights.widest)


def _worth_looking_at(
    knowledge: Knowledge, open_ones: Sequence[int], asked: Sequence[Masks], most: int
) -> frozenset[int]:
    """Choose chips of which least is known, with histories as different as can be.

    Chips that have been lit together so far, each time, cannot be told from each other by being lit together again.
    """
    turns = spread(len(knowledge.sights.places))
    history = np.stack(asked) if asked else np.zeros((0, knowledge.sights.length), dtype=np.int64)
    levels: dict[int, dict[bytes, list[int]]] = {}
    for member in sorted(open_ones, key=lambda each: turns[each]):
        guess = knowledge.guesses[member]
        if guess is not None:
            level = (guess.others * _SCALE // (guess.others + guess.weight)).bit_length()
            past = _past(knowledge, member, guess, history)
            levels.setdefault(level, {}).setdefault(past, []).append(member)
    found: list[int] = []
    for level in sorted(levels, reverse=True):
        lots = list(levels[level].values())
        for turn in range(max(len(lot) for lot in lots)):
            found += [lot[turn] for lot in lots if turn < len(lot)]
        if len(found) >= most:
            break
    cells, kept = 0, list[int]()
    for member in found[:most]:
        cells += knowledge.row(member)[0].prior[0].size
        if cells > _CELLS and len(kept) * _LOOKED_AT >= most:
            break
        kept.append(member)
    return frozenset(kept)


def _past(knowledge: Knowledge, member: int, guess: Guess, history: Masks) -> bytes:
    if guess.offset == NOWHERE:
        return b""
    return history[:, guess.offset : guess.offset + knowledge.pattern(member).bytes].tobytes()


def _gains(knowledge: Knowledge, group: Group, rows: list[int], bits: Masks) -> Masks:
    """Return for each byte what turning it over in a picture would tell of some chips."""
    table, offsets = group.pattern.table, knowledge.sights.offsets
    windows = knowledge.windows(bits, group)
    weights = group.weights[rows]
    chips = np.arange(len(rows), dtype=np.int64)
    shown = table[:, windows]
    sums: Masks = np.zeros((len(rows), _MASKS), dtype=np.int64)
    np.add.at(sums, (chips[:, None, None], shown[None]), weights)
    sums[:, 0] += group.dark_weights[rows]
    sums[:, group.pattern.without_data] += group.without_data_weights[rows]
    moved: Masks = np.zeros((len(rows), len(bits) + 2 * knowledge.sights.widest, _MASKS), dtype=np.int64)
    for byte in range(group.pattern.window):
        turned = table[:, windows ^ (1 << byte)]
        solderings, columns = np.nonzero(turned != shown)
        if not len(columns):
            continue
        places, moving = offsets[columns] + byte, weights[:, solderings, columns]
        np.subtract.at(moved, (chips[:, None], places[None], shown[solderings, columns][None]), moving)
        np.add.at(moved, (chips[:, None], places[None], turned[solderings, columns][None]), moving)
    totals = np.maximum(sums.sum(axis=1, dtype=np.int64), 1)
    before = (sums * sums).sum(axis=1, dtype=np.int64)
    after = sums[:, None, :] + moved[:, : len(bits)]
    splits = before[:, None] - (after * after).sum(axis=2, dtype=np.int64)
    share = np.maximum(splits, 0) * _SCALE // (totals * totals)[:, None]
    found: Masks = share.sum(axis=0, dtype=np.int64)
    return found
