"""A whole model day of the demo, frame by frame: what its lights do, what switches them, and what must not happen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pytest

from bridge.events import MILLISECOND, SECOND, ClockReported, Instant
from bridge.layout import conditions
from bridge.layout.conditions import AllOf, AnyOf, Condition, Leaf, Not, leaves
from bridge.light.effects.compose import flashes
from tests.support.lit_day import LASTS, LitDay, Span, lit_day, most_flashes

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bridge.layout.model import Light

SEEDS: Final = (1, 2)

LOOKED_AT: Final = 12 * SECOND
"""For so long a light is looked at: each effect of the demo does something within it."""

SETTLED: Final = 7 * SECOND
"""Nothing takes longer to come on or go out: the lanterns of the street take six."""

STILL: Final = "still/flashing"


@pytest.fixture(params=SEEDS)
def day(request: pytest.FixtureRequest) -> LitDay:
    """A day, played once for all tests."""
    return lit_day(request.param)


def lit(day: LitDay, light: Light, *, least: Instant = 0) -> list[Span]:
    """Return the times for which a light was on, those that were long enough."""
    return [each for each in day.spans(light.name) if each.state == "on" and each.ends - each.begins >= least]


def meets(span: Span, others: list[Span]) -> bool:
    """Return whether a time has anything in common with one of others."""
    return any(span.begins < other.ends and other.begins < span.ends for other in others)


def moves(day: LitDay, light: Light) -> bool:
    """Return whether a light was seen to change soon after it had come on, in all that time of the day."""
    stilled = [each for each in day.spans(STILL) if each.state == "on"]
    for span in lit(day, light, least=LOOKED_AT):
        looked = Span("on", span.begins, span.begins + LOOKED_AT)
        if not meets(looked, stilled):
            rows = day.shown(light, looked.begins + 20 * MILLISECOND, looked.ends)
            if len(np.unique(rows, axis=0)) > 1:
                return True
    return False


def test_at_least_twelve_kinds_of_effect_play(day: LitDay) -> None:
    """Each light with an effect is seen to do something, and there are twelve kinds of them or more."""
    with_effect = [light for light in day.layout.lights if light.effect is not None]
    assert [] == [light.name for light in with_effect if not moves(day, light)]
    assert 12 <= len({light.effect.kind for light in with_effect if light.effect is not None})


def parts(condition: Condition) -> Iterator[Condition]:
    """Yield a condition and everything that it is joined from."""
    yield condition
    match condition:
        case AllOf(joined) | AnyOf(joined):
            for each in joined:
                yield from parts(each)
        case Not(part):
            yield from parts(part)


def way(leaf: Leaf) -> str:
    """Return the kind of what a leaf goes by; a proved accessory is another one than an ordered one."""
    proved = isinstance(leaf, conditions.AccessoryStands) and leaf.proved
    return f"{type(leaf).__name__}{' proved' if proved else ''}"


def test_lights_are_switched_in_every_way(day: LitDay) -> None:
    """There are lights that go by one thing alone, of each kind, and joined ones; all of them were on and off."""
    both = [
        light
        for light in day.layout.lights
        if {"on", "off"} == {each.state for each in day.spans(light.name)}
    ]
    assert [] == [light.name for light in day.layout.lights if light not in both]
    alone = {
        way(leaf) for light in both for leaf in [light.when] if not isinstance(leaf, AllOf | AnyOf | Not)
    }
    assert {
        "AccessoryStands",
        "AccessoryStands proved",
        "NumberOrdered",
        "BlockIs",
        "BlockEntered",
        "ButtonHeld",
        "ButtonToggled",
        "ButtonRuns",
        "LightIsOn",
        "Hours",
    } == alone
    assert "SignalShows" in {way(leaf) for light in both for leaf in leaves(light.when)}
    assert {AllOf, AnyOf, Not} <= {type(each) for light in both for each in parts(light.when)}


def test_each_light_is_lit_while_it_is_on_and_dark_while_it_is_off(day: LitDay) -> None:
    """When it has changed over, some of its channels give light, or none of them does."""
    for light in day.layout.lights:
        takes = light.spread + light.change.time + 20 * MILLISECOND
        patience = LOOKED_AT if light.effect is not None else 0  # it may be dark for a while
        looked = set()
        for span in day.spans(light.name):
            if span.ends - span.begins > takes + (patience if span.state == "on" else 0):
                looked.add(span.state)
                shown = day.shown(light, span.begins + takes, span.ends).any()
                assert (span.state == "on") == shown, f"{light.name} at {span.begins}"
        assert {"on", "off"} == looked, light.name


def test_the_model_day_has_all_its_hours(day: LitDay) -> None:
    """Within twelve minutes the clock has told every hour, dusk and dawn among them."""
    told = [each.event.seconds for each in day.moments if isinstance(each.event, ClockReported)]
    hours = {seconds // 3600 for seconds in told if seconds is not None}
    assert set(range(24)) == hours
    assert LASTS >= 12 * 60 * SECOND


def test_the_town_is_dimmed_at_night(day: LitDay) -> None:
    """The lanterns give 40 % of their light in the small hours, unless somebody sweeps the streets."""
    lanterns = next(light for light in day.layout.lights if light.name == "street-lanterns")
    fullest = {}
    for span in day.spans("zone/town"):
        inside = Span(span.state, span.begins + SETTLED, span.ends)  # when it has been turned
        if inside.begins < inside.ends and any(
            each.begins + SETTLED < inside.begins and inside.ends < each.ends for each in lit(day, lanterns)
        ):
            fullest[span.state] = int(day.shown(lanterns, inside.begins, inside.ends).max())
    assert {"40%": 102, "70%": 179, "100%": 255}.items() >= fullest.items()
    assert {"40%", "70%"} <= set(fullest)


@pytest.mark.parametrize(
    ("dark", "light", "a_second", "expected"),
    [(0, 255, 2, 2), (0, 255, 4, 4), (240, 255, 5, 0), (210, 255, 5, 0), (100, 255, 5, 5), (0, 20, 5, 0)],
)
def test_flashes_are_counted(dark: int, light: int, a_second: int, expected: int) -> None:
    """Only what changes by a tenth of full light counts, and only if its darker state is below 80 %."""
    half = SECOND // a_second // 2
    times = np.arange(10 * a_second, dtype=np.int64) * half
    levels = np.array([dark, light] * (5 * a_second), dtype=np.uint8)
    assert expected == most_flashes(times, levels)


def test_nothing_flashes_more_than_three_times_in_a_second(day: LitDay) -> None:
    """No channel of any chain, signals and level crossing among them (WCAG 2.2, success criterion 2.3.1)."""
    assert 3 >= max(day.flashes_in_a_second().values())


def test_nothing_flashes_while_all_flashing_is_stilled(day: LitDay) -> None:
    """Whatever is on and flashes otherwise shows one picture, as long as nobody switches or dims it."""
    stilled = [each for each in day.spans(STILL) if each.state == "on"]
    assert stilled
    dimmed = day.spans("zone/town")
    looked = 0
    for light in day.layout.lights:
        if light.effect is None or not flashes(light.effect):
            continue
        turned = [Span("", each.begins, each.begins + SETTLED) for each in dimmed] if light.zone else []
        for on in lit(day, light):
            for still in stilled:
                both = Span("on", max(on.begins + SETTLED, still.begins), min(on.ends, still.ends))
                if both.ends - both.begins > SECOND and not meets(both, turned):
                    looked += 1
                    rows = day.shown(light, both.begins + 20 * MILLISECOND, both.ends)
                    assert 1 == len(np.unique(rows, axis=0)), f"{light.name} at {both.begins}"
    assert looked >= 8
