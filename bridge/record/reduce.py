"""Cutting a list down to what is needed of it: delta debugging.

Andreas Zeller and Ralf Hildebrandt, "Simplifying and Isolating Failure-Inducing Input", IEEE Transactions on Software
Engineering 28(2), 2002: `ddmin` (section 3.2, figure 5). What comes out is 1-minimal: without any single one of its
items the test no longer fails (proposition 11).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from itertools import pairwise
from typing import TypeVar

T = TypeVar("T")


def ddmin(items: Sequence[T], fails: Callable[[list[T]], bool]) -> list[T]:
    """Return a 1-minimal part of a list that still fails, in the order of the list.

    Args:
        items: the whole list, which fails.
        fails: whether a part of it still does; it always says the same of the same part.
    """
    kept = list(items)
    if not kept or fails([]):
        return []
    pieces = 2
    while len(kept) >= 2:
        parts = _parts(kept, pieces)
        smaller = next((part for part in parts if fails(part)), None)
        if smaller is not None:
            kept, pieces = smaller, 2
            continue
        # Where there are two parts, the rest without the one is the other, and was tried already.
        rests = ([each for other in parts if other is not part for each in other] for part in parts)
        rest = next((each for each in rests if pieces > 2 and fails(each)), None)
        if rest is not None:
            kept, pieces = rest, max(pieces - 1, 2)
        elif pieces < len(kept):
            pieces = min(2 * pieces, len(kept))
        else:
            break
    return kept


def ddmin_groups(
    items: Sequence[T], group: Callable[[T], Hashable], fails: Callable[[list[T]], bool]
) -> list[T]:
    """Return a part of a list that still fails, from which whole groups were cut: none of them can be left out.

    Cutting what belongs together first takes far fewer trials where most of it has nothing to do with the failure:
    Ghassan Misherghi and Zhendong Su, "HDD: Hierarchical Delta Debugging", ICSE 2006.

    Args:
        items: the whole list, which fails.
        group: what an item belongs to.
        fails: as for `ddmin`.
    """

    def of(groups: list[Hashable]) -> list[T]:
        wanted = set(groups)
        return [item for item in items if group(item) in wanted]

    return of(ddmin([*dict.fromkeys(map(group, items))], lambda groups: fails(of(groups))))


def _parts(items: Sequence[T], pieces: int) -> list[list[T]]:
    """Cut a list into so many pieces of nearly the same length."""
    ends = [len(items) * number // pieces for number in range(pieces + 1)]
    return [list(items[begin:end]) for begin, end in pairwise(ends)]
