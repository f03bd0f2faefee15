"""What has to go out before something else comes on, when one look gives way to another.

Two pictures never overlap: while a lamp of the old one still glows, none of the new one is lit, and a lens that changes
its colour does so through dark. Else a signal would show for a moment what it was never told, and perhaps something
better.
"""

from __future__ import annotations

from collections.abc import Sequence

from bridge.light.plans import Look


def first_out(before: Look, after: Look, lenses: Sequence[int]) -> dict[int, int]:
    """Return the channels that have to fall before any may rise, each with the level that it falls to.

    Args:
        before: the look whose light is to be seen.
        after: the look that is wanted.
        lenses: the number of the lens of each channel.

    Returns:
        The level by index of the channel; nothing where there is nothing to wait for.
    """
    old, new = _bright(before), _bright(after)
    turned = _turned(old, new, lenses)
    rises = any(level > was for level, was in zip(new, old, strict=True)) or bool(turned)
    if not rises:
        return {}
    return {
        index: 0 if lenses[index] in turned else level
        for index, (was, level) in enumerate(zip(old, new, strict=True))
        if was > (0 if lenses[index] in turned else level)
    }


def through_red(before: Look, after: Look, lenses: Sequence[int], reds: Sequence[int]) -> dict[int, int]:
    """Return the channels of all lenses that go from one colour to another by way of red, each with its level there.

    The mechanism of a searchlight signal has red in its middle. What is red before or after needs not pass it.
    """
    old, new = _bright(before), _bright(after)
    levels: dict[int, int] = {}
    for lens in sorted(_turned(old, new, lenses)):
        own = [index for index, each in enumerate(lenses) if each == lens]
        red = [reds[index] for index in own]
        if red not in ([old[index] for index in own], [new[index] for index in own]):
            levels |= zip(own, red, strict=True)
    return levels


def _bright(look: Look) -> tuple[int, ...]:
    return tuple(max(both) for both in zip(look.lit, look.unlit, strict=True))


def _turned(old: Sequence[int], new: Sequence[int], lenses: Sequence[int]) -> frozenset[int]:
    """Return the lenses that are lit before and after, in another colour."""
    sums: dict[int, tuple[int, int]] = {}
    for was, level, lens in zip(old, new, lenses, strict=True):
        before, after = sums.get(lens, (0, 0))
        sums[lens] = (before + was, after + level)
    # Two lights are of one colour where all their channels have the same ratio, give or take what rounding does.
    return frozenset(
        lens
        for was, level, lens in zip(old, new, lenses, strict=True)
        if all(sums[lens]) and abs(was * sums[lens][1] - level * sums[lens][0]) > sum(sums[lens])
    )
