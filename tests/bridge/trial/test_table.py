"""The table of a lamp test, pair by pair."""

from __future__ import annotations

from itertools import product
from typing import Final

import pytest

from bridge.trial.table import LAMP_TEST, Heard, Standing, Step

EXPECTED: Final = {
    Standing.OFF: "ask keep refuse refuse keep refuse keep keep",
    Standing.WAITING: "refuse change run go-on end refuse end end",
    Standing.RUNNING: "refuse change keep go-on end refuse end go-on",
}
"""What it does in each state with all that it can hear, in the order in which `Heard` names it. Common practice for
what may do harm, no source: nothing begins unconfirmed, everything can be ended, and time ends it by itself."""


def test_every_pair_of_state_and_news_has_its_step() -> None:
    """The table is what was decided, with no pair left out and none too many."""
    found = {
        state: " ".join(LAMP_TEST[state, heard].value.replace(" ", "-") for heard in Heard)
        for state in Standing
    }
    assert EXPECTED == found
    assert set(product(Standing, Heard)) == set(LAMP_TEST)


def test_only_a_confirmation_begins_it() -> None:
    """Whatever else comes, nothing is lit."""
    assert [(Standing.WAITING, Heard.CONFIRMED)] == [
        pair for pair, step in LAMP_TEST.items() if step is Step.RUN
    ]


@pytest.mark.parametrize("state", [Standing.WAITING, Standing.RUNNING])
def test_time_an_end_and_a_lost_asker_always_end_it_or_lead_on(state: Standing) -> None:
    """None of the three ways out of a test is ever kept or refused."""
    for heard in (Heard.OVER, Heard.ENDED, Heard.LOST, Heard.PASSED):
        assert LAMP_TEST[state, heard] in (Step.END, Step.GO_ON)
