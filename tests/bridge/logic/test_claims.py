"""Which accessories two devices may both listen to."""

from __future__ import annotations

import pytest

from tests.support.layouts import SOUND, places, said_of

FIRST = "{62: {normal: stop, reverse: approach}}"
SECOND = "{64: {normal: stop, reverse: proceed}}"


def _with(first: str, second: str) -> str:
    """Return the sound layout with other commands for its signals T4 and shunt."""
    assert 1 == SOUND.count(FIRST) == SOUND.count(SECOND)
    return SOUND.replace(FIRST, f"{{{first}}}").replace(SECOND, f"{{{second}}}")


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("62: {normal: stop}", "64: {normal: stop}, ▸62: {normal: stop}"),
        ("62: {normal: stop}, 65: {normal: stop}", "▸62: {normal: stop}"),
        ("62: {normal: stop}, 65: {normal: stop}", "▸62: {normal: stop}, 64: {normal: stop}"),
        ("62: {normal: stop}", "64: {normal: stop}, ▸62: {reverse: proceed}"),
    ],
    ids=["all of the first", "all of the second", "some of both", "other positions"],
)
def test_a_part_of_the_accessories_of_a_signal_cannot_be_shared(first: str, second: str) -> None:
    """Where two signals share some of their accessories, an order for one would change the other as well."""
    text = _with(first, second)
    [place] = places(text)
    told = (
        f"f:{place}: error: accessory 62 already orders the signal T4 (line 50): an order meant for one would change "
        "the other; give shunt numbers of its own, or give both signals the very same accessories"
    )
    assert [told] == said_of(text)


def test_every_accessory_that_is_shared_in_part_is_told() -> None:
    """Two accessories shared where a third is not are two findings."""
    text = _with(
        "62: {normal: stop}, 65: {normal: stop}",
        "▸62: {normal: stop}, ▸65: {normal: stop}, 64: {normal: stop}",
    )
    assert [f"f:{place}" for place in places(text)] == [line.split(": ")[0] for line in said_of(text)]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("62: {normal: stop, reverse: clear}", "62: {normal: stop, reverse: proceed}"),
        ("62: {normal: stop}, 65: {normal: clear}", "65: {normal: proceed}, 62: {normal: stop}"),
        ("62: {normal: stop}", "62: {reverse: proceed}"),
    ],
    ids=["one", "two, in another order", "a position each"],
)
def test_two_signals_may_share_all_of_their_accessories(first: str, second: str) -> None:
    """Two signals with the very same accessories hear every order together: two arms on one lever."""
    assert [] == said_of(_with(first, second))


@pytest.mark.parametrize("other", ["when: {accessory: 64}", "when: {accessory: 62}", "when: {accessory: 61}"])
def test_lights_may_follow_any_accessory(other: str) -> None:
    """Lights only follow an accessory, so any number of them may share it, with a signal or without."""
    assert [] == said_of(SOUND.replace("when: {accessory: 31}", other).replace("when: {button: bell}", other))
