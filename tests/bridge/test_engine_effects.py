"""Effects, from what switches a light to the frames: rates over ten minutes, colours on their way, and spreads."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND
from tests.support.driving import NORMAL, REVERSE, layout, order

MINUTES: Final = 10
FRAME: Final = 20 * MILLISECOND

RATES: Final = {
    # What flashes, how often a minute at least and at most, and who says so.
    "obstruction-red": (20, 40, "FAA AC 70/7460-1"),
    "{kind: obstruction-white}": (40, 40, "FAA AC 70/7460-1, from memory"),
    "airport-beacon": (24, 30, "FAA AIM 2-1, second hand"),
    "emergency-lights": (75, 125, "KKK-A-1822E 3.8.2.2"),
    "runway-end-lights": (60, 120, "a US Navy training manual: 90 +/- 30, second hand"),
    "rear-marker": (46, 86, "49 CFR 221.14: every 0.7 to 1.3 s"),
    "hazard-lights": (60, 120, "UNECE R48, from memory"),
    "Fl 4s": (15, 15, "its own period"),
    "Q": (50, 79, "INT 1 P 10.6"),
    "VQ": (80, 159, "INT 1 P 10.7"),
    "Iso 10s": (6, 6, "its own period"),
    "Oc(2) 13s": (9.2, 9.3, "its own period, twice"),
    "Fl(2+1) 15s": (12, 12, "its own period, three times"),
}


def file_of(*effects: str, fps: int = 50, shows: str = "white", more: str = "", both: bool = False) -> str:
    """Return a layout with a light for each effect, each on a pixel of its own, or on two."""
    lamps = "" if both else ", lamps: [eye]"
    fixtures = ", ".join(f"{{name: L{number}, build: pixel}}" for number in range(len(effects)))
    lights = "".join(
        f"  L{number}: {{effect: {effect}{lamps}, shows: {shows}, when: {{accessory: {number + 1}}}{more}}}\n"
        for number, effect in enumerate(effects)
    )
    return f"""
layout: Effects
frames-per-second: {fps}
builds: {{pixel: {{chips: [ws2812b, ws2812b], lamps: {{eye: {{full-colour: 1}}, other: {{full-colour: 2}}}}}}}}
nodes: {{bench: {{chains: [{{name: one, fixtures: [{fixtures}]}}]}}}}
lights:
{lights}"""


def started(text: str, *numbers: int) -> Engine:
    """Return an engine that has been started, with some lights switched on."""
    engine = Engine(layout(text))
    engine.start()
    for number in numbers:
        engine.handle(order(number, REVERSE, 0))
    return engine


def test_every_flasher_keeps_its_published_rate() -> None:
    """Over ten minutes of frames each effect comes on as often as is published, within one flash."""
    engine = started(file_of(*RATES, both=True), *range(1, len(RATES) + 1))
    count, was = [0] * len(RATES), [True] * len(RATES)
    while (wake := engine.next_wake()) is not None and wake < MINUTES * 60 * SECOND:
        engine.advance(wake)
        frame = engine.present_frames()[0]
        for place in range(len(RATES)):
            lit = max(frame[6 * place : 6 * place + 3]) > 127
            count[place] += lit and not was[place]
            was[place] = lit
    for (effect, (least, most, source)), seen in zip(RATES.items(), count, strict=True):
        assert least * MINUTES - 1 <= seen <= most * MINUTES + 1, f"{effect} by {source}: {seen}"


def phases(engine: Engine, until: int) -> list[tuple[int, bool]]:
    """Return when the first light comes on or goes out, in ms."""
    seen: list[tuple[int, bool]] = []
    while (wake := engine.next_wake()) is not None and wake <= until:
        engine.advance(wake)
        lit = any(engine.present_frames()[0][:3])
        if not seen or seen[-1][1] != lit:
            seen.append((wake // MILLISECOND, lit))
    return seen


@pytest.mark.parametrize(
    ("character", "seconds"),
    [
        ("Iso 10s", [5, 5]),
        ("Oc(2) 13s", [1, 1, 1, 10]),
        ("Oc(2+1) 12s", [1, 1, 1, 4, 1, 4]),
    ],
)
def test_characters_of_the_tables_are_right_to_the_frame(character: str, seconds: list[int]) -> None:
    """Each example with timings changes in exactly the frames in which it has to (NATO M-12, 2004)."""
    engine = started(file_of(f"{{character: {character}, in-step: true}}"), 1)
    changes = [at for at, _lit in phases(engine, 4 * sum(seconds) * SECOND)]
    between = [after - before for before, after in pairwise(changes[1:])]
    expected = [each * 1000 for each in seconds]
    turns = [expected[place:] + expected[:place] for place in range(len(expected))]
    assert between[: len(expected)] in turns


def test_a_sodium_lamp_turns_from_pink_to_orange() -> None:
    """It warms up for minutes, its colour with it, and then nothing moves any more."""
    engine = started(file_of("sodium-lamp"), 1)
    colours = []
    while (wake := engine.next_wake()) is not None:
        engine.advance(wake)
        colours.append(tuple(engine.present_frames()[0][:3]))
    assert 3 * 60 <= engine.now / SECOND <= 7 * 60  # facts of the trade give 3 to 5 minutes, no source
    green, red, blue = colours[-1]
    assert red > green > blue
    brightness = [sum(colour) for colour in colours]
    assert brightness[0] < brightness[-1] // 4
    assert 20 < len({*colours})


def test_a_white_filament_is_red_before_it_is_hot() -> None:
    """As a warm white lamp warms up, its red comes first and its blue last, and so it ends as it was asked to be."""
    text = file_of("steady", shows="2700 K", more=", change: filament 1 s")
    engine = started(text.replace("effect: steady, ", ""), 1)
    first: dict[str, int] = {}
    for at in range(0, 3000, 20):
        engine.advance(at * MILLISECOND)
        for name, level in zip("GRB", engine.present_frames()[0][:3], strict=True):
            if level > 12:
                first.setdefault(name, at)
    assert first["R"] < first["G"] < first["B"]
    assert engine.next_wake() is None


STREET: Final = """
layout: Street
frames-per-second: 50
builds:
  lamp:
    chips: [ws2811]
    lamps: {a-white: {channel: 1}, b-white: {channel: 2}, c-white: {channel: 3}}
nodes:
  bench:
    chains:
      - {name: one, fixtures: [{name: F1, build: lamp}, {name: F2, build: lamp}]}
      - {name: two, fixtures: [{name: F3, build: lamp}]}
lights:
  street: {fixtures: [F1, F2, F3], spread: 3 s, when: {accessory: 1}CHANGE}
"""


@pytest.mark.parametrize("change", ["", ", change: fade 500 ms", ", effect: tube-start"])
def test_lamps_of_a_street_come_on_one_by_one(change: str) -> None:
    """Each lamp of a light has a time of its own within the spread, the same each evening, over all its chains."""
    engine = started(STREET.replace("CHANGE", change))
    evenings = []
    for evening in (0, 60):
        engine.handle(order(1, REVERSE, evening * SECOND))
        first: dict[int, int] = {}
        while (wake := engine.next_wake()) is not None and wake < (evening + 30) * SECOND:
            engine.advance(wake)
            for place, level in enumerate(b"".join(engine.present_frames())):
                if level:
                    first.setdefault(place, wake // MILLISECOND - evening * 1000)
        engine.handle(order(1, NORMAL, (evening + 30) * SECOND))
        evenings.append(first)
    assert 9 == len(evenings[0])
    assert evenings[0] == evenings[1]
    assert 5 <= len(set(evenings[0].values()))
    if "tube" not in change:
        assert max(evenings[0].values()) <= 3000 + 100


@given(
    st.sampled_from(["open-fire", "welders-arc", "screen", "Fl(2) 5s", "tube-start", "gas-tube-fault"]),
    st.lists(st.integers(0, 30_000), max_size=30),
    st.integers(0, 30_000),
)
@settings(max_examples=60)
def test_frames_in_between_change_nothing_later(effect: str, looks: list[int], last: int) -> None:
    """However often an effect is rendered, every later frame is the same."""
    often, seldom = started(file_of(effect), 1), started(file_of(effect), 1)
    for look in sorted(each for each in looks if each < last):
        often.advance(look * MILLISECOND)
    for engine in (often, seldom):
        engine.advance(last * MILLISECOND)
    assert often.present_frames() == seldom.present_frames()


def test_nothing_moving_is_silent() -> None:
    """An effect that is over, or was switched off, asks for no frame any more."""
    engine = started(file_of("open-fire", "Q"), 1, 2)
    assert engine.next_wake() is not None
    engine.handle(order(1, NORMAL, SECOND))
    engine.handle(order(2, NORMAL, SECOND))
    assert engine.next_wake() is None
    assert bytes(12) == engine.present_frames()[0]
