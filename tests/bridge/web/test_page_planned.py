"""What is planned stands on the page in its place, as planned and dark."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from selenium.webdriver.common.by import By

from bridge.service.screen import describe
from tests.bridge.web.browser import ServedPage, open_chromium, until
from tests.bridge.web.memory_view import beginning
from tests.support.as_built import YARD, cleared
from tests.support.driving import layout as layout_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from selenium.webdriver import Chrome

pytestmark = pytest.mark.browser


@pytest.fixture
def seen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    """The browser with the page of the layout that has plans and dead chips, all signals ordered to clear."""
    engine = cleared()
    described = describe(layout_of(YARD), "main")
    state = beginning(described)
    state["frames"] = {
        chain.key: frame.hex()
        for chain, frame in zip(engine.layout.chains, engine.present_frames(), strict=True)
    }
    state["devices"] = {
        name: {"aspect": choice.aspect, "reason": choice.reason, "since": "start"}
        for name, choice in engine.choices().items()
    }
    state["nodes"].pop("hill")
    served = ServedPage()
    served.view.described, served.view.state = described, state
    served.start()
    driver = open_chromium(tmp_path_factory.mktemp("profile"))
    driver.get(served.address)
    until(lambda: driver.execute_script("return document.body.dataset.link") == "live")
    yield driver
    assert [] == driver.get_log("browser")  # type: ignore[no-untyped-call] # selenium leaves it untyped
    driver.quit()
    served.close()


def card(driver: Chrome, fixture: str) -> str:
    """Return what stands on the card of a fixture."""
    return driver.find_element(By.CSS_SELECTOR, f"[data-fixture='{fixture}']").text


def lit(driver: Chrome, fixture: str) -> list[str | None]:
    """Return for each lens of a fixture whether it is lit."""
    lenses = driver.find_elements(By.CSS_SELECTOR, f"[data-fixture='{fixture}'] .lens")
    return [lens.get_attribute("data-lit") for lens in lenses]


def test_a_planned_fixture_is_on_its_shelf_and_dark(seen: Chrome) -> None:
    """It has no position but the word; those behind it have theirs as they are built, and light up."""
    until(lambda: "clear" in card(seen, "A"))
    assert ["position", "planned", "P", "stop"] == card(seen, "P").split("\n")
    assert ["position", "2", "B", "approach"] == card(seen, "B").split("\n")
    assert ["no", "no", "no"] == lit(seen, "P")
    assert ["yes", "no", "no"] == lit(seen, "A")
    planned = [
        each.get_attribute("data-fixture") for each in seen.find_elements(By.CSS_SELECTOR, "li[data-planned]")
    ]
    assert ["P", "F"] == planned


def test_a_chip_that_was_bypassed_gives_no_light(seen: Chrome) -> None:
    """The head on it is dark, and its bytes are said not to be there; the other head shows what it shall."""
    until(lambda: "lower: clear" in card(seen, "C"))
    assert ["no", "no", "yes", "no"] == lit(seen, "C")
    seen.find_element(By.CSS_SELECTOR, "[data-fixture='C'] button").click()
    reading = until(lambda: seen.find_element(By.CSS_SELECTOR, ".bytes:not([hidden])").text)
    assert "upper green not on the data line" in reading


def test_a_planned_chain_says_that_it_gets_no_frames(seen: Chrome) -> None:
    """Nobody waits for its node, and its devices say why they are out of use."""
    until(lambda: "Planned: it gets no frames." in seen.find_element(By.CSS_SELECTOR, ".chains").text)
    assert "hill" not in seen.find_element(By.ID, "links").text
    row = seen.find_element(By.CSS_SELECTOR, "[data-device='F']").text
    assert "it is out of use: the chain hill/line is planned and not built yet" in row
