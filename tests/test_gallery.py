"""The pictures of the owner's pages are those that the effects of today draw."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from bridge.layout.effects.read import READERS
from bridge.light.tapes import UNIT
from tests.support.exhibits import EXHIBITS
from tests.support.gallery import FOLDER, drawn, sessions
from tests.support.playing import effect_of, scores_of
from tests.support.strips import Picture, draw, lane_of_score, paint

TOO_SIMPLE = {"steady"}
NEARLY_THE_SAME = {
    "anti-collision": "strobe",
    "school-bus-lamps": "alternate",
    "ditch-lights": "alternate",
    "rear-marker": "flash",
    "cycle-lamp": "flash",
    "traffic-beacon": "flash",
    "obstruction-white": "strobe",
    "identification-beacon": "flash",
}
"""Effects that differ from another in their rate alone, and that one."""


def test_the_pictures_are_those_that_are_drawn_today() -> None:
    """Each picture in the guide is drawn by what runs; `python -m tests.support.gallery` draws them anew."""
    assert {path.name: path.read_text(encoding="utf-8") for path in FOLDER.glob("*.svg")} == (
        drawn() | sessions()
    )


def test_every_effect_has_a_picture() -> None:
    """Whatever effect can be asked for is shown, unless another looks the same."""
    shown = {effect_of(each.text, [lamp.rpartition(":")[0] for lamp in each.lamps]).kind for each in EXHIBITS}
    assert set(READERS) == shown | TOO_SIMPLE | NEARLY_THE_SAME.keys()
    assert set(NEARLY_THE_SAME.values()) <= shown


def test_a_picture_is_a_drawing_that_can_be_opened() -> None:
    """Each is well-formed SVG with a title, a lane for each lamp, and light in it."""
    for text in drawn().values():
        root = ET.fromstring(text)  # noqa: S314 - our own text
        assert root.tag.endswith("svg")
        assert root[0].text
        assert any(each.tag.endswith("path") and each.get("fill") for each in root)


def test_a_lane_shows_the_light_and_its_colour() -> None:
    """Half of the time lit and half of it dark, in the colour of the lamp, or in the one that is asked for."""
    [score] = scores_of("{kind: flash, in-step: true}")
    lane = lane_of_score("lamp", score, "red")
    second = 10**9
    assert (UNIT, paint("red")) == lane.at(0)
    assert 0 == lane.at(second // 2)[0]
    assert paint("green") == lane_of_score("lamp", score._replace(hues=((0, "green"),)), "red").at(0)[1]
    text = draw(Picture("flash", "flash", [lane], second))
    assert '<path d="M112 60V36H428V60Z" fill="#ff2d23"/>' in text
