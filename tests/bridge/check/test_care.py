"""What may harm people is told as a warning with what to do."""

from __future__ import annotations

from typing import Final

from bridge.check.care import LARGE, Watched, look_at_care
from bridge.layout.findings import Level, Mark
from bridge.light.tapes import Score
from tests.support.playing import scores_of

PLACE: Final = Mark(7, 3)


def watched(name: str, scores: tuple[Score, ...], colour: str = "white", chain: str = "tarn/yard") -> Watched:
    """Return a device whose lamps have one colour and hang on one chain."""
    return Watched(name, PLACE, scores, [colour] * len(scores), [chain] * len(scores))


def said(*devices: Watched) -> list[str]:
    """Return the warnings about devices."""
    found = list(look_at_care(devices))
    assert all((Level.WARNING, PLACE) == (each.level, each.mark) for each in found)
    return [each.message for each in found]


def test_a_flash_faster_than_three_a_second_is_told() -> None:
    """The warning names the device, how often it flashes, and what to do; red light is named as such."""
    [told] = said(watched("beacon", scores_of("{kind: rotating-beacon, rate: 240}")))
    assert told.startswith(
        "'beacon' flashes 4 times in a second and more than 3 flashes a second can bring on a seizure"
    )
    assert "write a slower rate" in told
    [told] = said(watched("beacon", scores_of("{kind: rotating-beacon, rate: 240}"), "red"))
    assert "of red light, which is the most harmful" in told


def test_slow_flashes_are_not_told() -> None:
    """Nothing is said of lamps that flash three times a second or less."""
    assert [] == said(watched("mast", scores_of("obstruction-red", 3), "red"))
    assert [] == said(
        watched("lamp", scores_of("steady", 100)), watched("street", scores_of("sodium-lamp", 100))
    )


def test_many_lamps_that_flash_together_are_told() -> None:
    """From so many lamps of one chain on that flash in step, the warning says so, of one device or of several."""
    assert [] == said(watched("sign", scores_of("flash", LARGE - 1)))
    [told] = said(watched("sign", scores_of("flash", LARGE)))
    assert told.startswith(f"{LARGE} lamps of chain tarn/yard flash together ('sign')")
    half = scores_of("obstruction-red", LARGE // 2)
    [told] = said(watched("one", half), watched("other", half))
    assert "'one' and 1 other devices" in told


def test_red_lamps_count_twice() -> None:
    """Half as many red lamps are as much."""
    half = scores_of("obstruction-red", LARGE // 2)
    assert [] == said(watched("mast", half, "white"))
    [told] = said(watched("mast", half, "red"))
    assert "red ones counted twice" in told


def test_lamps_that_begin_apart_are_no_area() -> None:
    """A chase, or devices that begin each at an instant of its own, do not flash together; nor do two chains."""
    assert [] == said(watched("border", scores_of("chase", LARGE + 6)))
    assert [] == said(
        *(watched(f"d{place}", scores_of("flash", 1, f"d{place}")) for place in range(2 * LARGE))
    )
    half = scores_of("obstruction-red", LARGE // 2)
    assert [] == said(watched("one", half), watched("other", half, chain="tarn/village"))
