"""What has changed is told of a chain, once a second at the most, and nothing is told twice."""

from __future__ import annotations

from adapters.outputs.figures import FIGURES_EVERY, Figures
from adapters.outputs.pace import NEVER, Counters
from bridge.events import SECOND
from tests.adapters.outputs.desk import THROAT, Host, Link


def test_nothing_that_was_not_counted_is_told() -> None:
    """A chain that has shown nothing yet has no figures, and asks for no call."""
    host = Host(Link())
    assert NEVER == Figures(host, THROAT, Counters()).tell(0)
    assert [] == host.told


def test_a_change_is_told_once_and_the_next_one_a_second_later() -> None:
    """As soon as the second is over, with all that was counted until then; what was told does not change later."""
    host, counters = Host(Link()), Counters()
    figures = Figures(host, THROAT, counters)
    counters.sent = 1
    assert NEVER == figures.tell(3 * SECOND)
    assert NEVER == figures.tell(3 * SECOND)
    counters.sent = 2
    assert 3 * SECOND + FIGURES_EVERY == figures.tell(3 * SECOND + 1)
    counters.skipped = 7
    assert 3 * SECOND + FIGURES_EVERY == figures.tell(3 * SECOND + FIGURES_EVERY - 1)
    assert NEVER == figures.tell(3 * SECOND + FIGURES_EVERY)
    first, second = [(place, told) for _at, place, told in host.told]
    assert (THROAT, {"sent": 1, "skipped": 0, "kept_alive": 0, "failed": 0}) == first
    assert (THROAT, {"sent": 2, "skipped": 7, "kept_alive": 0, "failed": 0}) == second
