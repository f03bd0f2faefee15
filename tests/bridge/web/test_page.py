"""The page as a person sees it, in a real Chromium."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.bridge.web.browser import ServedPage, open_chromium, until
from tests.bridge.web.memory_view import HOSTILE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from selenium.webdriver import Chrome

pytestmark = pytest.mark.browser

THROAT = "tarn-yard/throat"

LONGEST_RETURN_S = 20
"""The page tries again after 12.5 s at the most (link.js), and then needs a moment, longer on a busy machine."""

LENSES = """
const card = [...document.querySelectorAll('.shelf li')].find((li) => li.dataset.fixture === arguments[0]);
return [...card.querySelectorAll('.lens')].map((lens) => {
  const light = lens.querySelector('.light');
  return [getComputedStyle(light).fill, lens.dataset.lit, light.getBoundingClientRect().top];
});
"""
"""The colour, state and height of each lens of a fixture, in the order in which the page holds them."""


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    driver = open_chromium(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture
def served() -> Iterator[ServedPage]:
    served = ServedPage()
    served.start()
    yield served
    served.close()


@pytest.fixture
def seen(chromium: Chrome, served: ServedPage) -> Iterator[Chrome]:
    """The browser with the page open and live. A message on the console fails the test that left it there."""
    chromium.get(served.address)
    until(lambda: link_state(chromium) == "live")
    yield chromium
    log = chromium.get_log("browser")  # type: ignore[no-untyped-call] # selenium leaves it untyped
    complaints = [entry["message"] for entry in log]
    chromium.get("about:blank")
    assert [] == [text for text in complaints if "ERR_CONNECTION_REFUSED" not in text]


def link_state(driver: Chrome) -> str:
    return str(driver.execute_script("return document.body.dataset.link"))


def lenses(driver: Chrome, fixture: str) -> list[tuple[tuple[int, ...] | None, str]]:
    """Return colour and state of each lens, having checked that they stand from top to bottom; many stand in rows."""
    found = driver.execute_script(LENSES, fixture)
    heights = [top for _, _, top in found]
    assert heights == sorted(heights if len(heights) > 4 else set(heights))
    return [(tuple(map(int, re.findall(r"\d+", fill))) or None, lit) for fill, lit, _ in found]


def text(driver: Chrome, selector: str) -> str:
    return driver.find_element(By.CSS_SELECTOR, selector).text


def counted(driver: Chrome) -> list[str]:
    """Return the figures of the line of health as they are read: the number, then what was counted."""
    figures = driver.find_elements(By.CSS_SELECTOR, "#counts div")
    return [" ".join(each.find_element(By.TAG_NAME, tag).text for tag in ("dd", "dt")) for each in figures]


def decoded(encoded: float) -> float:
    """Linear light of an sRGB value 0 to 1 (IEC 61966-2-1), the way back from what the page computes."""
    return encoded / 12.92 if encoded <= 0.04045 else ((encoded + 0.055) / 1.055) ** 2.4


def nearest_byte(linear: float) -> int:
    """The sRGB byte for linear light, found from the decoding side: the last whose lower edge is below it."""
    return max(byte for byte in range(256) if byte == 0 or decoded((byte - 0.5) / 255) <= linear)


def light_of(*shares: tuple[float, list[float]]) -> tuple[int, ...]:
    """The screen colour of dies that shine at these shares of their full light."""
    added = [max(sum(share * rgb[i] for share, rgb in shares), 0) for i in range(3)]
    return tuple(nearest_byte(part / max(1, *added)) for part in added)


def dies(served: ServedPage, fixture: str) -> list[list[float]]:
    """Return the full light of each die of a fixture, in the order of the description."""
    for chain in served.view.described["chains"]:
        for placed in chain["fixtures"]:
            if placed["name"] == fixture:
                return [d["rgb"] for head in placed["heads"] for lens in head["lenses"] for d in lens["dies"]]
    raise LookupError(fixture)


DARK = ((0, 0, 0), "no")


@pytest.mark.parametrize("levels", [(255, 0, 0), (200, 255, 0), (1, 2, 3), (128, 64, 10), (255, 255, 255)])
def test_a_full_colour_lens_has_the_colour_of_its_bytes(
    seen: Chrome, served: ServedPage, levels: tuple[int, int, int]
) -> None:
    """The first byte of this pixel is green, as it is wired; the picture shows what the eye would see."""
    green, red, blue = levels
    served.do(lambda: served.view.frame(THROAT, b0=green, b1=red, b2=blue))
    expected = tuple(nearest_byte(level / 255) for level in (red, green, blue))
    until(lambda: [(expected, "yes")] == lenses(seen, "T2"))


def test_known_points_of_the_curve() -> None:
    """The test's own curve agrees with values known from elsewhere: 21.4 % of the light is middle grey 127.5.

    Source: IEC 61966-2-1; 0.5 decodes to 0.21404.
    """
    assert pytest.approx(0.21404, abs=1e-5) == decoded(0.5)
    assert (0, 13, 188, 255) == tuple(nearest_byte(linear) for linear in (0, 1 / 255, 128 / 255, 1))


def test_only_the_lens_that_is_lit_is_lit(seen: Chrome, served: ServedPage) -> None:
    """The yellow LED on the third channel is the middle lens of the mast; the others are dark."""
    served.do(lambda: served.view.frame(THROAT, b5=255))
    yellow = light_of((1, dies(served, "T4")[1]))
    until(lambda: [DARK, (yellow, "yes"), DARK] == lenses(seen, "T4"))


def test_heads_stand_one_above_the_other(seen: Chrome, served: ServedPage) -> None:
    """Red of the upper head and green of the lower head are where they sit on the mast."""
    served.do(lambda: served.view.frame(THROAT, b7=255, b9=40))
    full = dies(served, "T6")
    red, green = light_of((1, full[2])), light_of((40 / 255, full[3]))
    until(lambda: [DARK, DARK, (red, "yes"), (green, "yes"), DARK, DARK] == lenses(seen, "T6"))


@pytest.mark.parametrize("byte", [0, 100, 254, 255])
def test_an_inverted_channel_is_dark_at_255(seen: Chrome, served: ServedPage, byte: int) -> None:
    """A channel that sinks when its byte is low shines the other way round."""
    served.do(lambda: served.view.frame(THROAT, b15=byte))
    expected = (light_of((1 - byte / 255, dies(served, "T8")[0])), "no" if byte == 255 else "yes")
    until(lambda: [expected] == lenses(seen, "T8"))


def test_mixed_dies_add_up_as_light(seen: Chrome, served: ServedPage) -> None:
    """Two LEDs behind one lens add in linear light and are encoded once."""
    served.do(lambda: served.view.frame(THROAT, b18=200, b19=90))
    red, green = dies(served, "T10")
    until(lambda: [(light_of((200 / 255, red), (90 / 255, green)), "yes")] == lenses(seen, "T10"))


def test_a_light_brighter_than_the_screen_keeps_its_hue(seen: Chrome, served: ServedPage) -> None:
    """Dies that add up to more than a screen has give the same hue as at a level that it can show."""

    def load() -> None:
        head = served.view.described["chains"][0]["fixtures"][0]["heads"][0]["lenses"][0]
        for each in head["dies"]:
            each["rgb"] = [2.0, 0.5, -0.3]
        served.view.frame(THROAT, b0=255, b1=255, b2=255)
        served.view.description_number += 1
        served.view.change()

    served.do(load)
    # 6 : 1.5 : -0.9 of light is 1 : 0.25 : 0 of what the screen has; 0.25 is encoded as 136.9.
    until(lambda: [((255, 137, 0), "yes")] == lenses(seen, "T2"))


def test_a_dark_lens_can_be_told_from_its_board(seen: Chrome) -> None:
    """A dark lens is black behind a visible rim, and has no glow."""
    rim, board, halo = seen.execute_script(
        "const look = (name) => getComputedStyle(document.querySelector(`[data-fixture=T2] .${name}`));"
        "return [look('glass').stroke, look('board').fill, look('halo').visibility]"
    )
    assert rim != board
    assert halo == "hidden"


def test_a_chain_without_a_frame_says_so(chromium: Chrome, served: ServedPage) -> None:
    """Before the first frame nobody knows what is lit, and nothing is drawn as if it were known."""
    served.do(served.view.state["frames"].clear)
    chromium.get(served.address)
    until(lambda: link_state(chromium) == "live")
    assert text(chromium, ".chain .state") == "No frame was sent yet."
    assert [(None, "unknown")] == lenses(chromium, "T2")


def test_a_chain_stands_in_wiring_order_with_positions(seen: Chrome) -> None:
    """Fixtures come in the order they are wired, each with its positions and its aspect as a word."""
    plates = [plate.text for plate in seen.find_elements(By.CSS_SELECTOR, ".chain:first-child .plate b")]
    names = [name.text for name in seen.find_elements(By.CSS_SELECTOR, ".chain:first-child .name")]
    words = {word.text for word in seen.find_elements(By.CSS_SELECTOR, ".chain:first-child .word")}
    assert ["1", "2", "3–4", "5", "6", "7"] == plates  # noqa: RUF001 - a range is set with an en dash
    assert ["T2", "T4", "T6", "D1", "T8", "T10"] == names
    assert {"stop"} == words


def test_names_from_the_file_are_only_text(seen: Chrome) -> None:
    """A name that looks like markup is shown letter by letter, everywhere it appears."""
    assert f"Fernhollow & Tarn {HOSTILE}" == text(seen, "#layout-name")
    assert 1 == sum(name.text == HOSTILE for name in seen.find_elements(By.CSS_SELECTOR, ".shelf .name"))
    assert 1 == sum(HOSTILE in name.text for name in seen.find_elements(By.CSS_SELECTOR, "tbody th"))
    assert [] == seen.find_elements(By.TAG_NAME, "img")


def test_a_change_arrives_live(seen: Chrome, served: ServedPage) -> None:
    """An order on the layout shows in the table with its cause, and under the mast."""

    def order() -> None:
        reason = f"accessory 62 was ordered normal (by {HOSTILE})"
        served.view.state["devices"]["T4"] = {"aspect": "approach", "reason": reason, "since": "15:40:00"}
        served.view.state["counts"]["events"] = 1234
        served.view.change()

    served.do(order)
    row = seen.find_element(By.CSS_SELECTOR, "[data-device=T4]")
    expected = ["approach", f"accessory 62 was ordered normal (by {HOSTILE})", "15:40:00"]
    until(lambda: expected == [cell.text for cell in row.find_elements(By.TAG_NAME, "td")])
    assert "approach" == text(seen, "[data-fixture=T4] .word")
    assert "1,234" in text(seen, "#counts")


def test_bytes_are_read_by_keyboard(seen: Chrome, served: ServedPage) -> None:
    """Tab reaches a fixture, its bytes are read out below the chain and follow the frame; Escape ends it."""
    served.do(lambda: served.view.frame(THROAT, b5=128))
    assert [False, False] == [each.is_displayed() for each in seen.find_elements(By.CSS_SELECTOR, ".bytes")]
    seen.find_element(By.CSS_SELECTOR, "[data-fixture=T2] button").send_keys(Keys.TAB)
    expected = "T4 position 2, build three-lamp, line 32 of the layout file\ngreen 0 — byte 4, hex 00\n"
    until(lambda: text(seen, ".bytes").startswith(expected))
    until(lambda: "yellow 128 — byte 6, hex 80" in text(seen, ".bytes"))
    served.do(lambda: served.view.frame(THROAT, b5=255))
    until(lambda: "yellow 255 — byte 6, hex ff" in text(seen, ".bytes"))
    seen.switch_to.active_element.send_keys(Keys.ESCAPE)
    until(lambda: not seen.find_element(By.CSS_SELECTOR, ".bytes").is_displayed())


@pytest.mark.parametrize(
    ("fixture", "expected"),
    [
        ("T2", "head G 1, R 254, B 0 — bytes 1–3, hex 01 fe 00"),  # noqa: RUF001 - a range is set with an en dash
        ("T8", "red 64 (inverted: 75 % light) — byte 16, hex 40"),
        ("T10", "head red 9, green 0 — bytes 19–20, hex 09 00"),  # noqa: RUF001 - the same
    ],
)
def test_bytes_are_read_in_the_order_of_the_wire(
    seen: Chrome, served: ServedPage, fixture: str, expected: str
) -> None:
    """A click reads a fixture's bytes as they go out, each with what it lights; a second click ends it."""
    served.do(lambda: served.view.frame(THROAT, b0=1, b1=254, b15=64, b18=9))
    button = seen.find_element(By.CSS_SELECTOR, f"[data-fixture={fixture}] button")
    button.click()
    until(lambda: expected in text(seen, ".bytes").splitlines())
    assert "counted from 1" in text(seen, ".bytes")
    button.click()
    until(lambda: not seen.find_element(By.CSS_SELECTOR, ".bytes").is_displayed())


def test_a_house_is_captioned_room_by_room(seen: Chrome, served: ServedPage) -> None:
    """Several lights of one fixture are named, in the order of their windows; a fixture alone says so."""

    def light() -> None:
        served.view.state["devices"]["weaver's attic"]["aspect"] = "on"
        served.view.frame("mill/town", b12=255)

    served.do(light)
    until(lambda: "yes" == lenses(seen, "weaver's")[0][1])
    house = seen.find_element(By.CSS_SELECTOR, '[data-fixture="weaver\'s"]')
    expected = ["weaver's attic: on", "weaver's parlour: stop", "weaver's kitchen: stop"]
    assert expected == [word.text for word in house.find_elements(By.CSS_SELECTOR, ".word")]
    assert house.find_elements(By.CSS_SELECTOR, ".walls")
    assert "no signal or light uses it" == text(seen, "[data-fixture=spare] .word")


def test_what_a_light_does_is_said_in_words(seen: Chrome, served: ServedPage) -> None:
    """In the list always; at its fixture while it is on, where its lamps stand on a board and in rows."""

    def light() -> None:
        served.view.state["devices"]["road works"]["aspect"] = "on"
        served.view.frame("mill/town", b16=255)

    assert "stop" == text(seen, '[data-fixture="road works"] .word')
    assert "light, arrow board" == text(seen, '[data-device="road works"] small')
    served.do(light)
    until(lambda: "on, arrow board" == text(seen, '[data-fixture="road works"] .word'))
    card = seen.find_element(By.CSS_SELECTOR, '[data-fixture="road works"]')
    assert not card.find_elements(By.CSS_SELECTOR, ".walls")
    places = [lens.location for lens in card.find_elements(By.CSS_SELECTOR, ".glass")]
    assert (5, 3) == tuple(len({place[axis] for place in places}) for axis in ("x", "y"))
    assert card.size["width"] >= card.find_element(By.TAG_NAME, "svg").size["width"]


def test_what_is_over_several_lights_stands_in_the_list(seen: Chrome, served: ServedPage) -> None:
    """A zone and the switch against flashing, each under its own name, with its state and the reason."""

    def still() -> None:
        told = {"aspect": "stilled", "reason": "button calm was pressed to turn it on", "since": "15:40:00"}
        served.view.state["devices"]["still/flashing"] = told
        served.view.change()

    assert "town zone" == text(seen, '[data-device="zone/town"] th')
    served.do(still)
    row = '[data-device="still/flashing"]'
    until(lambda: "stilled" == text(seen, f"{row} .aspect"))
    assert "all flashing master switch" == text(seen, f"{row} th")
    assert "button calm was pressed to turn it on" in text(seen, row)


def test_the_filter_leaves_the_lines_that_match(seen: Chrome, served: ServedPage) -> None:
    """The filter reads names, aspects and reasons, says how many are left, and follows what happens."""
    box = seen.find_element(By.ID, "filter")

    def shown() -> list[str]:
        rows = seen.find_elements(By.CSS_SELECTOR, "#device-rows tr")
        return [str(row.get_attribute("data-device")) for row in rows if row.is_displayed()]

    box.send_keys("Light")
    rooms = ["weaver's kitchen", "weaver's parlour", "weaver's attic"]
    assert ["bakery", HOSTILE, "station lamp east", *rooms, "road works"] == shown()
    assert "7 of 15" == text(seen, "#found")
    box.clear()
    box.send_keys("approach")
    assert [] == shown()

    def order() -> None:
        served.view.state["devices"]["T6"]["aspect"] = "approach"
        served.view.change()

    served.do(order)
    until(lambda: shown() == ["T6"])


def test_notes_appear_newest_first(seen: Chrome, served: ServedPage) -> None:
    """A note appears when it is made, with its level as a word."""
    served.do(lambda: served.view.note("info", "first"))
    served.do(lambda: served.view.note("warning", f"second {HOSTILE}"))
    expected = [f"15:40:00\nwarning\nsecond {HOSTILE}", "15:40:00\nnote\nfirst"]
    until(lambda: expected == [note.text for note in seen.find_elements(By.CSS_SELECTOR, "#notes li")])


def test_health_is_said_in_words(seen: Chrome, served: ServedPage) -> None:
    """A node that is lost is named in the line of health and at its chain."""

    def lose() -> None:
        served.view.state["nodes"]["mill"] = {"state": "lost", "text": "nothing acknowledged for 3 s"}
        served.view.state["sources"]["panel"] = {"state": "failing", "text": "a fault of the source itself"}
        served.view.state["clock"] = None
        served.view.change()

    assert "broker connected to 127.0.0.1:1883" in text(seen, "#links")
    assert "source panel can be heard: the cable is in (since 15:31:07), 12 events" in text(seen, "#links")
    served.do(lose)
    until(lambda: "mill does not answer: nothing acknowledged for 3 s" in text(seen, "#links"))
    assert "source panel cannot be heard: a fault of the source itself" in text(seen, "#links")
    assert "The node does not answer: its lamps may differ." == text(seen, ".chain:nth-child(2) .state")
    assert "no" == text(seen, "#counts dd")
    assert "1 message not understood" in counted(seen)


def veiled(driver: Chrome, served: ServedPage) -> bool:
    """Whether the page is under its veil: words that say so, grey, and no lens in any colour."""
    names = [f["name"] for chain in served.view.described["chains"] for f in chain["fixtures"]]
    states = {lens for name in names for lens in lenses(driver, name)}
    grey = driver.execute_script("return getComputedStyle(document.getElementById('live')).filter")
    return (
        link_state(driver) == "lost"
        and "The link to lamproom is lost. What stands below is old" in text(driver, "#bar")
        and {(None, "unknown")} == states
        and grey == "grayscale(1)"
    )


def test_a_lost_link_is_veiled_and_comes_back(seen: Chrome, served: ServedPage) -> None:
    """When the bridge ends no old colour stays; when it is back the page finds it and shows the new state."""
    served.do(lambda: served.view.note("info", "of the first run"))
    served.do(lambda: served.view.frame(THROAT, b0=255))
    until(lambda: lenses(seen, "T2")[0][1] == "yes")
    served.stop()
    until(lambda: veiled(seen, served))
    served.view.noted.clear()
    served.view.note("info", "of the second run")  # a bridge that was started again counts from 1
    served.view.frame(THROAT, b0=0, b1=255)
    served.start()
    until(lambda: link_state(seen) == "live", within=LONGEST_RETURN_S)
    until(lambda: [((255, 0, 0), "yes")] == lenses(seen, "T2"))
    until(
        lambda: [n.text for n in seen.find_elements(By.CSS_SELECTOR, "#notes .text")] == ["of the second run"]
    )


def test_a_mute_link_is_veiled_too(seen: Chrome, served: ServedPage) -> None:
    """A link that stands and says nothing any more is noticed within seconds, though nothing was closed."""
    thaw = served.freeze()
    try:
        until(lambda: veiled(seen, served), within=8)
    finally:
        thaw.set()
    until(lambda: link_state(seen) == "live", within=LONGEST_RETURN_S)


def test_another_layout_is_drawn_anew(seen: Chrome, served: ServedPage) -> None:
    """After a reload of the layout file the page shows the new fixtures without being opened again."""

    def load() -> None:
        served.view.described["chains"][0]["fixtures"][0]["name"] = "T2 new"
        served.view.description_number += 1
        served.view.change()

    served.do(load)
    until(lambda: seen.find_elements(By.CSS_SELECTOR, ".shelf [data-fixture='T2 new']"))
    assert "live" == link_state(seen)
    assert [DARK] == lenses(seen, "T2 new")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_fits_its_width_in_light_and_dark(seen: Chrome, served: ServedPage, width: int, scheme: str) -> None:
    """No name is so long that the page needs scrolling sideways, and text stands clear of its ground.

    WCAG 2.2, success criteria 1.4.10 (reflow at 320 CSS pixels) and 1.4.3 (contrast 4.5 to 1).
    """

    def load() -> None:
        longest = "Fernhollow" * 12
        served.view.described["layout"] = longest
        served.view.described["chains"][1]["fixtures"][1]["name"] = longest
        served.view.state["devices"]["T4"]["reason"] = longest
        served.view.state["broker"]["text"] = longest
        served.view.note("error", longest)
        served.view.description_number += 1
        served.view.change()

    served.do(load)
    until(lambda: text(seen, "#layout-name").startswith("FernhollowFern") and text(seen, "#notes"))
    seen.find_element(By.CSS_SELECTOR, "[data-fixture=T2] button").click()
    metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    seen.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    seen.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    try:
        assert width >= seen.execute_script("return document.documentElement.scrollWidth")
        for selector in ("h1", "#link", ".pill .text", ".figures", ".word", ".bytes", "footer p", ".aspect"):
            assert contrast(seen, selector) >= 4.5, selector
    finally:
        seen.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        seen.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def contrast(driver: Chrome, selector: str) -> float:
    """Contrast ratio of a text to the nearest painted ground behind it (WCAG 2.2, definitions)."""
    colours: list[Any] = driver.execute_script(
        "let node = document.querySelector(arguments[0]); const ink = getComputedStyle(node).color;"
        "const ground = (n) => getComputedStyle(n).backgroundColor;"
        "while (ground(node) === 'rgba(0, 0, 0, 0)') node = node.parentElement;"
        "return [ink, ground(node)]",
        selector,
    )
    weights = (0.2126, 0.7152, 0.0722)
    ink, ground = (
        sum(w * decoded(int(part) / 255) for w, part in zip(weights, re.findall(r"\d+", colour), strict=True))
        for colour in colours
    )
    return (max(ink, ground) + 0.05) / (min(ink, ground) + 0.05)


def test_the_caution_stands_at_the_foot(seen: Chrome) -> None:
    """Four cautions: fuses, mains, epilepsy, models only."""
    foot = text(seen, "footer")
    for words in (
        "fuse each feed",
        "licensed people per local code",
        "photosensitive epilepsy",
        "For model layouts only",
    ):
        assert words in foot
