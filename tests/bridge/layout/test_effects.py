"""Effects are read from a layout file, and what is wrong with one is told at its place with what to do."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.layout.effects.families import Flasher, Programme
from bridge.layout.effects.read import READERS
from bridge.layout.rules.flashers import FLASHERS
from bridge.layout.rules.lamps import yellow_for_kilometres, yellow_for_miles
from tests.support.layouts import HERE, places
from tests.support.playing import effect_of, read

MS: Final = 1_000_000
SECOND: Final = 1000 * MS
TWO: Final = ("post.red", "post.green")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("effect: ▸fire", "no effect is called 'fire'; use one of: "),
        ("effect: ▸strob", "did you mean strobe?"),
        ("effect: ▸7", "no effect is called 7"),
        ("effect:▸", "no effect is called an empty value"),
        ("effect: ▸{rate: 90}", "the key 'kind' is missing here"),
        ("effect: {kind: ▸[flash]}", "no effect is called a list"),
        ("effect: {kind: flash, ▸speed: 90}", "no key 'speed' belongs here"),
        ("effect: {kind: flash, rate: ▸0}", "write how often a minute, 1 to 600"),
        ("effect: {kind: flash, lit: ▸99%}", "write from 5% to 95%"),
        ("effect: {kind: flash, lit: ▸half}", "write a whole percentage, such as 50%"),
        ("effect: {kind: emergency-lights, rate: ▸126}", "is 75 to 125 by KKK-A-1822E 3.8.2.2, and 126 lies beyond"),
        ("effect: {kind: obstruction-white, rate: ▸41}", "is 40 by FAA AC 70/7460-1"),
        ("effect: {kind: traffic-beacon, lit: ▸70%}", "is 50 to 66 by MUTCD"),
        ("effect: {kind: anti-collision, flashes: ▸3}", "flashes 2 times at the most"),
        ("effect: {kind: strobe, flashes: ▸5}", "write a whole number from 1 to 4"),
        ("effect: {kind: flash, ▸flashes: 2}", "no key 'flashes' belongs here"),
        ("effect: {kind: chase, step: ▸10 ms}", "20 ms to 60 s can be shown"),
        ("effect: {kind: chase, ▸pitch: 10 mm}", "`pitch` goes with a `speed`"),
        ("effect: {kind: chase, speed: ▸30 mph}", "say also with `pitch`"),
        ("effect: {kind: chase, speed: ▸30 mph, pitch: 10 mm}", "needs a `scale`"),
        ("effect: {kind: chase, speed: 30 mph, pitch: ▸10 kg, scale: N}", "is not a length"),
        ("effect: {kind: chase, speed: ▸30 knots, pitch: 10 mm, scale: N}", "is not a speed"),
        ("effect: {kind: chase, speed: 30 mph, pitch: 10 mm, scale: ▸G}", "no scale is called 'G'"),
        ("effect: {kind: chase, speed: 30 mph, ▸step: 1 s, pitch: 10 mm, scale: N}", "says it already"),
        ("effect: {kind: chase, direction: to-and-fro, every: ▸3}", "leave `every` out"),
        ("effect: {kind: chase, every: 2, lit: ▸2}", "so no lamp is ever dark"),
        ("effect: {kind: arrow-board, mode: ▸arrow}", "write flashing-arrow, "),
        ("effect: {kind: arrow-board, mode: ▸flashing-arrow}", "say with `direction` where it points"),
        ("effect: {kind: arrow-board, mode: ▸caution-bar, direction: left}", "it points nowhere"),
        ("effect: {kind: arrow-board, mode: ▸caution-bar}", "list the lamps of each step with `parts`"),
        ("effect: {kind: arrow-board, mode: caution-bar, parts: ▸[red, green]}", "has 1 part"),
        ("effect: {kind: arrow-board, mode: caution-bar, parts: [red], rate: ▸24}", "is 25 to 40 by MUTCD"),
        ("effect: {kind: arrow-board, mode: caution-bar, parts: [red], lit: ▸40%}", "is 50 to 75 by MUTCD"),
        ("effect: {kind: programme, steps: [{lit: ▸blue, time: 1 s}, {lit: red, time: 1 s}]}", "has no lamp 'blue'"),
        ("effect: {kind: programme, steps: [{lit: ▸[], time: 1 s}, {lit: red, time: 1 s}]}", "nothing stands here"),
        ("effect: {kind: programme, steps: [{lit: red, time: ▸1 ms}, {lit: red, time: 1 s}]}", "20 ms is the least"),
        ("effect: {kind: programme, steps: ▸[{lit: red, time: 20 ms}, {lit: red, time: 2 min}]}", "would be lost"),
        ("effect: {kind: programme, steps: ▸[{lit: red, time: 1 h}, {lit: red, time: 1 h}]}", "an hour is the most"),
        ("effect: ▸{kind: light-character}", "the key 'character' is missing here"),
        ("effect: {character: ▸15}", "15 is no light character"),
        ("effect: {character: Fl 4s, flash: ▸55 ms}", "write 0.1 s to 30 s"),
        ("effect: Fl ▸WRG 10s", "3 colours without Al are sectors"),
        ("effect: {kind: airport-beacon, rate: ▸31}", "is 24 to 30 by FAA AIM 2-1"),
        ("effect: {kind: code-beacon, letters: ▸fhw}", "write 1 to 4 capital letters or figures"),
        ("effect: {kind: code-beacon, rate: 8, letters: ▸'0000'}", "write fewer letters"),
        ("effect: {kind: code-beacon, letters: R, rate: ▸9}", "is 6 to 8 by FAA AIM 2-2-2"),
        ("effect: {kind: open-fire, diameter: ▸6 m}", "write how wide the real fire is, 5 cm to 5 m"),
        ("effect: {kind: open-fire, diameter: ▸wide}", "is not a length"),
        ("effect: {kind: small-flame, rate: ▸9}", "is 10 to 15"),
        ("effect: {kind: failing-tube, gives-up: ▸5 s}", "is 60 s to 180 s"),
        ("effect: {kind: sodium-lamp, time: ▸1 min}", "is 180 s to 300 s"),
        ("effect: {kind: mercury-lamp, time: ▸1 s}", "10 s to 20 min can be shown"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_at_its_place(text: str, says: str) -> None:
    """One mistake gives one note, where it stands, and no effect."""
    effect, found = read(text.replace(HERE, ""), TWO)
    [place] = places(text)
    assert effect is None
    assert [place] == [each.split(": ")[0] for each in found]
    column = says in found[0]
    assert column, found


ROAD: Final = (
    "effect: {kind: traffic-lights, rules: germany, approaches: {main: {red: red, yellow: red, green: green}}"
)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (ROAD.replace("germany", "▸france") + "}", "write north-america, great-britain or germany"),
        (ROAD + ", yellow: ▸2 s}", "the time with yellow is 3 s to 5 s by RiLSA, and 2 s lies beyond"),
        (ROAD + ", speed: ▸80 km/h}", "write the speed that is allowed, 20 km/h to 70 km/h"),
        (ROAD + ", speed: ▸30 mph}", "write the speed that is allowed, 20 km/h to 70 km/h"),
        (ROAD + ", yellow: 3 s, speed: ▸50 km/h}", "leave out `speed`"),
        (ROAD + ", all-red: ▸13 s}", "the time with all red is 0 s to 12 s"),
        (ROAD.replace("germany", "great-britain") + ", speed: ▸30 mph}", "3 s at every speed"),
        (ROAD.replace("yellow: red, ", "").replace("{red", "▸{red") + "}", "with `yellow` or `amber`"),
        (ROAD.replace("green: green", "green: ▸blue") + "}", "has no lamp 'blue'"),
    ],
)
def test_a_mistake_in_traffic_lights_is_told_at_its_place(text: str, says: str) -> None:
    """A region, a time or a lamp that cannot be is told with what can."""
    effect, found = read(text.replace(HERE, ""), TWO)
    [place] = places(text)
    assert effect is None
    assert [place] == [each.split(": ")[0] for each in found]
    inside = says in found[0]
    assert inside, found


def test_an_owner_may_go_beyond_a_range_by_saying_so() -> None:
    """With `beyond-range: true` a rate outside the published range is shown as it is asked for."""
    effect = effect_of("{kind: emergency-lights, rate: 150, beyond-range: true}", TWO)
    assert isinstance(effect, Flasher)
    assert 150 == effect.rate
    assert effect_of("{kind: sodium-lamp, time: 20 s, beyond-range: true}")


@pytest.mark.parametrize("kind", [name for name, rules in FLASHERS.items() if rules.turns == "halves"])
def test_what_flashes_by_turns_needs_two_lamps(kind: str) -> None:
    """One lamp cannot flash by turns with itself."""
    effect, found = read(f"effect: {kind}", ("lamp",))
    assert effect is None
    assert [f"1:1: {kind} needs two lamps or more, which flash by turns, and this light has one"] == [
        each.replace("1:9", "1:1") for each in found
    ]


def test_a_lamp_is_called_by_its_whole_name_or_the_end_of_it() -> None:
    """The last part of a name is enough where no other lamp has it; else the whole names are told."""
    lamps = ("north.upper.red", "north.lower.red", "north.lower.green")
    steps = "effect: {kind: programme, steps: [{lit: %s, time: 1 s}, {lit: dark, time: 1 s}]}"
    for name, place in (("green", 2), ("lower.green", 2), ("upper.red", 0), ("north.lower.red", 1)):
        effect, found = read(steps % name, lamps)
        assert [] == found
        assert isinstance(effect, Programme)
        assert ((place,), ()) == tuple(step.lit for step in effect.steps)
    _effect, found = read(steps % "red", lamps)
    assert [f"1:41: several lamps of this light are called 'red': write {lamps[0]} or {lamps[1]}"] == found


APPROACHES: Final = (
    "approaches: {main: {red: mr, %s: my, green: mg, time: 12 s}, "
    "side: {red: sr, %s: sy, green: sg, time: 8 s}}"
)
LAMPS: Final = ("mr", "my", "mg", "sr", "sy", "sg")


def road(rules: str, middle: str = "yellow", more: str = "") -> list[tuple[str, float]]:
    """Return what is lit and for how many seconds, step by step."""
    text = f"{{kind: traffic-lights, rules: {rules}, {APPROACHES % (middle, middle)}{more}}}"
    effect = effect_of(text, LAMPS)
    assert isinstance(effect, Programme)
    return [(" ".join(LAMPS[lamp] for lamp in sorted(step.lit)), step.time / SECOND) for step in effect.steps]


def test_traffic_lights_of_north_america() -> None:
    """Green, yellow for 3 to 6 s, all red up to 6 s, the other approach (MUTCD, as a state has it)."""
    assert [
        ("mg sr", 12), ("my sr", 3.5), ("mr sr", 1.5), ("mr sg", 8), ("mr sy", 3.5), ("mr sr", 1.5),
    ] == road("north-america")  # fmt: skip


def test_traffic_lights_of_great_britain() -> None:
    """Red, red and amber, green, amber (TSRGD 1994 reg. 30(4)); 2 s and 3 s are common practice, no source."""
    assert [
        ("mr my sr", 2), ("mg sr", 12), ("my sr", 3), ("mr sr", 2),
        ("mr sr sy", 2), ("mr sg", 8), ("mr sy", 3), ("mr sr", 2),
    ] == road("great-britain", "amber")  # fmt: skip


def test_traffic_lights_of_germany() -> None:
    """Red and yellow for 1 s, yellow for 3, 4 or 5 s at 50, 60 or 70 km/h (RiLSA, from memory)."""
    for speed, yellow in ((50, 3), (60, 4), (70, 5), (30, 3)):
        assert [
            ("mr my sr", 1), ("mg sr", 12), ("my sr", yellow), ("mr sr", 2),
            ("mr sr sy", 1), ("mr sg", 8), ("mr sy", yellow), ("mr sr", 2),
        ] == road("germany", more=f", speed: {speed} km/h")  # fmt: skip


@pytest.mark.parametrize(
    ("speed", "time"), [(15, 3.0), (25, 3.0), (30, 3.5), (35, 4.0), (45, 4.5), (55, 5.5), (70, 6.0)]
)
def test_yellow_follows_from_the_speed(speed: int, time: float) -> None:
    """Y = 1.0 + 0.733 S / 10, rounded up to 0.5 s, 3 to 6 s (COMAR 11.04.14.03); `speed` in miles an hour."""
    assert time * SECOND == yellow_for_miles(speed)
    assert ("my sr", time) == road("north-america", more=f", speed: {speed} mph")[1]


def test_yellow_in_germany_is_that_of_the_next_higher_speed() -> None:
    """Between the speeds that are named the longer time holds."""
    assert [3, 4, 4, 5] == [yellow_for_kilometres(speed) // SECOND for speed in (50, 55, 60, 65)]


def test_no_two_approaches_have_green_together() -> None:
    """In no step does one approach have green or yellow while another has anything but red."""
    for rules in ("north-america", "great-britain", "germany"):
        for lit, _time in road(rules):
            main, side = (
                lit.split()[0:0] + [each[1] for each in lit.split() if each[0] == who] for who in "ms"
            )
            assert ["r"] in (main, side)


def board(text: str) -> list[tuple[int, ...]]:
    """Return the lamps of each step of an arrow board, counted from 1."""
    effect = effect_of(f"{{kind: arrow-board, {text}}}", tuple(str(number) for number in range(1, 16)))
    assert isinstance(effect, Programme)
    times = {step.time for step in effect.steps}
    assert 1 == len(times)
    return [tuple(sorted(lamp + 1 for lamp in step.lit)) for step in effect.steps]


def test_an_arrow_board_shows_its_modes() -> None:
    """A sequence takes three steps and a dark one, a quarter of the time each; caution never looks like an arrow."""
    left, right, shaft = (1, 3, 5, 12, 14), (2, 4, 11, 13, 15), (6, 7, 8, 9, 10)
    assert [tuple(sorted((*left, *shaft))), ()] == board("mode: flashing-arrow, direction: left")
    assert [tuple(sorted((*right, *shaft))), ()] == board("mode: flashing-arrow, direction: right")
    assert [(6, 7), shaft, tuple(sorted((*right, *shaft))), ()] == board(
        "mode: sequential-arrow, direction: right"
    )
    assert [tuple(range(1, 16)), ()] == board("mode: double-arrow")
    assert [(1, 2, 14, 15), ()] == board("mode: caution-corners")
    assert [shaft, ()] == board("mode: caution-bar")
    assert [(1, 2), (1, 2, 3), (1, 2, 3, 4), ()] == board(
        "mode: sequential-chevron, direction: left, parts: [[1, 2], 3, 4]"
    )


@pytest.mark.parametrize(
    ("text", "scale", "step"),
    [
        # 30 mph is 83.82 mm/s in N and 153.97 mm/s in HO; 60 lamps a metre then light 5.029 and 9.238 a second.
        ("speed: 30 mph, pitch: 16.6667 mm", "N", 198_839_775),
        ("speed: 30 mph, pitch: 16.6667 mm", "HO", 108_246_000),
        ("speed: 10 km/h, pitch: 12.626 mm", "Z", 999_979_200),
        ("speed: 84 mm/s, pitch: 8.4 mm", "N", 100_000_000),
        ("speed: 10 m/s, pitch: 1 cm, scale: '1:22.5'", "N", 22_500_000),
    ],
)
def test_light_runs_at_a_scale_speed(text: str, scale: str, step: int) -> None:
    """Speed, pitch and scale give the time from lamp to lamp: 447.04 / ratio mm/s for one mph (arithmetic)."""
    effect, found = read(f"scale: {scale}\neffect: {{kind: chase, {text}}}", ("a", "b", "c"))
    assert [] == found
    assert step == pytest.approx(getattr(effect, "step", 0), rel=2e-5)


def test_every_kind_is_named_by_its_word() -> None:
    """Whatever is read knows its word, so that a message can call it by it."""
    for kind in READERS:
        effect, _found = read(f"effect: {kind}", TWO)
        assert effect is None or kind == effect.kind
