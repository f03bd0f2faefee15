"""What is about a thing that the layout file has not is told with what may have been meant."""

from __future__ import annotations

import pytest

from bridge.engine import Engine
from bridge.events import (
    AccessoryOrdered,
    BlockReported,
    BlockState,
    ClockReported,
    Event,
    LinkState,
    Position,
    PowerReported,
    PowerState,
    SourceReported,
)
from bridge.service.unheard import unheard
from tests.support.driving import layout
from tests.support.junction import JUNCTION

KNOWN = (
    BlockReported(at=0, source="bus", name="west", state=BlockState.CLEAR),
    ClockReported(at=0, source="bus", seconds=0, rate_quarters=4, running=True),
    SourceReported(at=0, source="bus", state=LinkState.UP),
    AccessoryOrdered(at=0, source="bus", number=71, position=Position.NORMAL),
)


@pytest.fixture(scope="module")
def engine() -> Engine:
    return Engine(layout(JUNCTION))


@pytest.mark.parametrize("event", KNOWN)
def test_of_what_is_there_nothing_is_said(engine: Engine, event: Event) -> None:
    """Blocks of the file, orders that somebody obeys, the clock, and news of links."""
    assert "" == unheard(engine, event)


def test_a_slip_in_a_name_is_told_with_the_name_that_it_may_be(engine: Engine) -> None:
    """A block and a power district."""
    block = BlockReported(at=0, source="bus", name="weste", state=BlockState.CLEAR)
    assert unheard(engine, block).startswith(
        "no block of the layout file is called weste, so it changes nothing"
    )
    assert unheard(engine, block).endswith("did you mean west?")
    power = PowerReported(at=0, source="bus", district="nowhere", state=PowerState.ON)
    assert unheard(engine, power).startswith("no power district of the layout file is called nowhere")


def test_an_order_of_what_nobody_has_is_told(engine: Engine) -> None:
    """A number alone tells nothing of what was meant."""
    order = AccessoryOrdered(at=0, source="bus", number=999, position=Position.NORMAL)
    assert "nothing in this layout listens to it" == unheard(engine, order)
