"""How what a frame holds looks on a screen: the colour, whether it flashes, and that it is the page's."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest

from bridge.events import MILLISECOND
from bridge.picture.glow import Lens, encode, glows_of, on_screen

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses libraries of its own that are not used here
    import colour

RED = {"byte": 0, "inverted": False, "rgb": [1.0, 0.0, 0.0]}
GREEN = {"byte": 1, "inverted": True, "rgb": [0.0, 1.0, 0.0]}

ON, OFF = b"\xff\xff", b"\x00\xff"


def played(*frames: tuple[int, bytes]) -> Lens:
    """Return a lens of a red die and an inverted green one that was shown frames at these milliseconds."""
    lens = Lens([RED, GREEN])
    lens.begin(0)
    for at, levels in frames:
        lens.shine(levels, at * MILLISECOND)
    return lens


def test_light_is_encoded_as_the_standard_says() -> None:
    """IEC 61966-2-1, held against colour-science."""
    linear = np.linspace(0, 1, 1001)
    expected = np.round(255 * colour.models.eotf_inverse_sRGB(linear))
    assert list(expected) == [encode(each) for each in linear]


def test_what_is_too_bright_for_a_screen_keeps_its_hue() -> None:
    """It is dimmed as a whole; what lies below zero is cut off."""
    assert (255, 188, 0) == on_screen((2.0, 1.0, -0.5))
    assert (0, 0, 0) == on_screen((0.0, 0.0, 0.0))


def test_an_inverted_channel_is_lit_where_its_byte_is_low() -> None:
    """Full light is sent as 0."""
    glow = played((0, b"\x00\x00")).glow(1)
    assert glow is not None
    assert ((0, 255, 0), False) == glow
    assert played((0, OFF)).glow(1) is None


def test_what_goes_dark_and_comes_on_again_flashes() -> None:
    """A flash of once a second, seen for three seconds."""
    lens = played(*((at * 500, OFF if at % 2 else ON) for at in range(7)))
    glow = lens.glow(3200 * MILLISECOND)
    assert glow is not None
    assert ((255, 0, 0), True) == glow


@pytest.mark.parametrize(
    ("frames", "lit"),
    [
        ([(0, ON), (100, OFF), (250, ON)], True),  # through dark
        ([(0, ON), (100, OFF)], False),
        ([(at * 100, OFF if at % 2 else ON) for at in range(9)], True),  # a tube that has started
    ],
)
def test_a_change_does_not_flash(frames: list[tuple[int, bytes]], lit: bool) -> None:
    """Neither what went through dark nor what flickered while it came on, when it is steady long after."""
    glow = played(*frames).glow(60_000 * MILLISECOND)
    assert (glow is not None) is lit
    assert glow is None or not glow.flashing


def test_what_plays_is_as_bright_as_at_its_best() -> None:
    """A beacon that turns is not dark because the session ended as it looked away."""
    frames = [(at * 20, bytes((255 - 25 * abs(at % 20 - 10), 255))) for at in range(200)]
    glow = played(*frames, (4000, b"\x05\xff")).glow(4000 * MILLISECOND)
    assert glow is not None
    assert ((255, 0, 0), False) == glow


def test_colours_that_hardly_differ_are_one() -> None:
    """The rooms of a house are a little different, and one stripe."""
    rooms = [Lens([RED]), Lens([RED])]
    for lens, level in zip(rooms, (b"\xff", b"\xfd"), strict=True):
        lens.shine(level, 0)
    assert 1 == len(glows_of(rooms, 1))


def test_the_page_encodes_the_same_way() -> None:
    """A picture and the page show a lamp in the same colour: the page's formula has the same figures."""
    script = (Path(__file__).parents[3] / "bridge/web/static/light.js").read_text(encoding="utf-8")
    for figure in ("0.0031308", "12.92", "1.055", "1 / 2.4", "0.055"):
        assert figure in script
