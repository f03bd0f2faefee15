"""The page of a running daemon, as a person before a browser sees it while the layout is at work."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from tests.bridge.web.browser import open_chromium, until
from tests.support.daemon import publish, running
from tests.support.mosquitto import StartMosquitto

pytestmark = pytest.mark.browser

LAYOUT = """\
layout: Harrow Gap
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, yellow: {channel: 3}, red: {channel: 2}}}
  house: {chips: [sk6812-rgbw, sk6812-rgbw], lamps: {attic: {full-colour: 2}, kitchen: {full-colour: 1}}}
nodes:
  gap:
    chains:
      - name: main
        fixtures:
          - {name: S1, build: searchlight}
          - {name: S2, build: three-lamp}
          - {name: mill, build: house}
          - {name: spare, build: searchlight}
signals:
  S1: {commands: {61: {normal: stop, reverse: clear}, 62: {normal: approach}}}
  S2: {commands: {63: {normal: stop, reverse: approach}}}
lights:
  kitchen: {fixture: mill, lamps: [kitchen], when: {accessory: 70}, shows: warm-white 60%}
  attic: {fixture: mill, lamps: [attic], when: {accessory: 71}, shows: on 40%}
"""

Colour = tuple[int, ...]
DARK = (0, 0, 0)


class Watcher:
    """A person before the page, who can also order something on the layout."""

    def __init__(self, chromium: Chrome, broker: int) -> None:
        self.chromium = chromium
        self._broker = broker

    def order(self, topic: str, payload: str) -> None:
        """Publish with the broker's own client."""
        publish(self._broker, f"layout/{topic}", payload)

    def lenses(self, fixture: str) -> list[Colour]:
        """Return the colour of each lens, from the top downwards."""
        fills: list[str] = self.chromium.execute_script(
            "return [...document.querySelectorAll(`[data-fixture=${arguments[0]}] .lens .light`)]"
            ".map((light) => getComputedStyle(light).fill)",
            fixture,
        )
        return [tuple(map(int, re.findall(r"\d+", fill))) for fill in fills]

    def row(self, device: str) -> list[str]:
        """Return what the table says: aspect and cause."""
        cells = self.chromium.find_elements(By.CSS_SELECTOR, f"[data-device={device}] td")
        return [cell.text for cell in cells[:2]]

    def texts(self, selector: str) -> list[str]:
        """Return the text of each element that is found."""
        return [found.text for found in self.chromium.find_elements(By.CSS_SELECTOR, selector)]


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    driver = open_chromium(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture
def watcher(chromium: Chrome, mosquitto: StartMosquitto, tmp_path: Path) -> Iterator[Watcher]:
    """The page of a daemon that drives the layout, open and live; nothing may stand on its console at the end."""
    broker = mosquitto()
    with running(tmp_path, LAYOUT, broker.port, "--page", "127.0.0.1:0") as daemon:
        daemon.wait_for("the page is at http://")
        found = re.search(r"the page is at (http://\S+)", daemon.output)
        assert found is not None
        chromium.get(found[1])
        until(lambda: "live" == chromium.execute_script("return document.body.dataset.link"))
        yield Watcher(chromium, broker.port)
        assert [] == chromium.get_log("browser")  # type: ignore[no-untyped-call] # selenium leaves it untyped
        chromium.get("about:blank")


def test_an_order_changes_colour_aspect_and_cause(watcher: Watcher) -> None:
    """An order on the layout is seen at once: what is lit and where, the aspect in words, and by what."""
    until(lambda: [(255, 0, 0)] == watcher.lenses("S1"))
    until(lambda: [DARK, DARK, (255, 0, 0)] == watcher.lenses("S2"))

    watcher.order("accessory/63/ordered", "reverse")
    until(lambda: ["approach", "accessory 63 was ordered reverse (by mqtt)"] == watcher.row("S2"))
    until(lambda: [DARK, DARK] == watcher.lenses("S2")[::2])
    red, green, blue = watcher.lenses("S2")[1]
    assert (255, 0) == (red, blue)
    assert 140 <= green <= 190  # yellow: neither orange nor lemon
    assert ["approach"] == watcher.texts("[data-fixture=S2] .word")

    watcher.order("accessory/61/ordered", "reverse")
    until(lambda: ["clear", "accessory 61 was ordered reverse (by mqtt)"] == watcher.row("S1"))
    # Green is levelled down to 121 / 255, as bright as red: in linear light 0.5035 of the green of a screen, so 188.
    until(lambda: 188 == watcher.lenses("S1")[0][1])
    red, _green, blue = watcher.lenses("S1")[0]
    assert red == 0
    assert blue < 160  # signal green, not turquoise


def test_a_room_lights_up_in_its_window(watcher: Watcher) -> None:
    """Rooms of a house are named from the top downwards, and only the window of the one that is on is lit."""
    watcher.order("accessory/70/ordered", "reverse")
    until(lambda: ["attic: off", "kitchen: on"] == watcher.texts("[data-fixture=mill] .word"))
    until(lambda: DARK != watcher.lenses("mill")[1])
    attic, kitchen = watcher.lenses("mill")
    assert attic == DARK
    assert kitchen[0] > kitchen[2]
    assert ["no signal or light uses it"] == watcher.texts("[data-fixture=spare] .word")


def test_bytes_are_read_as_they_were_sent(watcher: Watcher) -> None:
    """A click on a signal reads its bytes, in the order of the wire: green 25 %, rounded, red 100 %, blue 0."""
    watcher.order("accessory/62/ordered", "normal")
    watcher.chromium.find_element(By.CSS_SELECTOR, "[data-fixture=S1] button").click()
    expected = "head G 53, R 148, B 0 — bytes 1–3, hex 35 94 00"  # noqa: RUF001 - a range is set with an en dash
    until(lambda: expected in watcher.texts(".bytes li"))


def test_what_is_not_understood_is_noted_with_its_topic(watcher: Watcher) -> None:
    """A message that means nothing stands among the notes as it came, is counted, and moves no lamp."""
    until(lambda: [(255, 0, 0)] == watcher.lenses("S1"))
    watcher.order("accessory/61/ordered", "sideways")
    until(lambda: "message not understood" in watcher.texts("#counts dt"))  # one, or it were "messages"
    note = until(lambda: [text for text in watcher.texts("#notes li") if "sideways" in text])[0]
    assert "\nwarning\n" in note
    assert "layout/accessory/61/ordered sideways" in note
    assert [(255, 0, 0)] == watcher.lenses("S1")


def test_a_lamp_test_stands_above_everything_and_at_each_signal_concerned(watcher: Watcher) -> None:
    """While it waits and runs the page says so; whose lamps show it says that too, beside what the logic has chosen."""
    assert [""] == watcher.texts("#lamp-test")
    watcher.order("lamp-test/chips/S1", "60 m1")
    until(
        lambda: watcher.texts("#lamp-test")[0].startswith(
            "Lamp test waiting: S1 will show false aspects on gap/main"
        )
    )
    assert "stop" == watcher.row("S1")[0]
    watcher.order("lamp-test/confirm/gap/main", "m1")
    until(
        lambda: watcher.texts("#lamp-test")[0].startswith(
            "Lamp test running: S1 on gap/main shows a lamp test"
        )
    )
    until(lambda: "stop but its lamps show a lamp test" == watcher.row("S1")[0])
    assert ["lamp test"] == watcher.texts("[data-fixture=S1] .word")
    assert "stop" == watcher.row("S2")[0]
    until(lambda: min(watcher.lenses("S1")[0]) > 100)  # all three dies of the pixel
    watcher.order("lamp-test/end", "any")
    until(lambda: [(255, 0, 0)] == watcher.lenses("S1"))
    until(lambda: [""] == watcher.texts("#lamp-test"))
    assert "stop" == watcher.row("S1")[0]
