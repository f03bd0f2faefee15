"""The page about LCC says what runs."""

from __future__ import annotations

from adapters.events.lcc.numbers import CLOCKS, NAMED, SENSORS
from adapters.events.lcc.options import USUAL_PORT
from adapters.events.lines import KEEP_ALIVE
from tests.support.tree import ROOT

PAGE = (ROOT / "config/guide/lcc.md").read_text(encoding="utf-8")


def test_the_page_says_what_rests_on_no_standard() -> None:
    """The port and the text frames are a convention of a draft note (TCP transfer, 30 April 2021, 4.1)."""
    assert f"the port is {USUAL_PORT}, is in **no adopted standard**" in " ".join(PAGE.split())
    assert 12021 == USUAL_PORT


def test_the_page_has_the_words_and_figures_of_what_runs() -> None:
    """Clocks, events by name, sensors, and how long a gateway without power goes unnoticed."""
    assert [] == [word for word in (*CLOCKS, *NAMED) if f"`{word}`" not in PAGE]
    assert f"{SENSORS[0]} to {SENSORS[-1]}" in PAGE
    idle, every, times = (value for _option, value in KEEP_ALIVE)
    assert f"after about {idle + every * times} s" in PAGE
