"""Each effect keeps its own published rate, measured from ten minutes of frames."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pytest

from bridge.layout.effects.families import Shape
from bridge.layout.rules.flashers import FLASHERS
from bridge.light.tapes import UNIT
from tests.support.playing import frames, rises, runs, scores_of

MINUTES: Final = 10
ONE_MORE: Final = 1
"""Ten minutes of frames may begin or end within a flash."""


@pytest.mark.parametrize(
    ("kind", "least", "most"),
    [
        ("strobe", 40, 180),  # 49 CFR 229.133(b)(1)
        ("anti-collision", 40, 100),  # 14 CFR 25.1401(c)
        ("rotating-beacon", 60, 240),  # SAE J845: 1 to 4 Hz
        ("emergency-lights", 75, 125),  # KKK-A-1822E 3.8.2.2
        ("hazard-lights", 60, 120),  # SAE J945
        ("school-bus-lamps", 60, 120),  # SAE J887
        ("ditch-lights", 40, 180),  # 49 CFR 229.125(e)
        ("rear-marker", 47, 85),  # 49 CFR 221.14(a)(4): every 0.7 to 1.3 s
        ("cycle-lamp", 60, 240),  # RVLR 1989 as amended: 1 to 4 a second
        ("traffic-beacon", 50, 60),  # MUTCD 11th edition 4G.01
        ("obstruction-red", 20, 40),  # FAA AC 70/7460-1
        ("obstruction-white", 40, 40),  # FAA AC 70/7460-1
        ("identification-beacon", 36, 44),  # US Navy aviation training manual: about 40
        ("runway-end-lights", 60, 120),  # US Navy aviation training manual: 90 +/- 30
        ("approach-flashers", 120, 120),  # FAA AIM 2-1-1: two runs a second
    ],
)
def test_a_flashing_light_keeps_its_rate(kind: str, least: int, most: int) -> None:
    """A light flashes as often as is prescribed for it, at its usual rate and at both ends of the range."""
    usual = FLASHERS[kind].rate.usual
    for text, rate in (
        (kind, usual),
        (f"{{kind: {kind}, rate: {least}}}", least),
        (f"{{kind: {kind}, rate: {most}}}", most),
    ):
        assert least <= rate <= most
        for score in scores_of(text, lamps=4):
            counted = rises(frames(score))
            assert MINUTES * rate - ONE_MORE <= counted <= MINUTES * rate + ONE_MORE, text


def test_every_flashing_light_with_a_range_is_measured_here() -> None:
    """A new kind that has a published range needs its row above."""
    mark = next(iter(test_a_flashing_light_keeps_its_rate.pytestmark))  # type: ignore[attr-defined] # pytest sets it
    assert [name for name, rules in FLASHERS.items() if rules.rate.least is not None] == [
        row[0] for row in mark.args[1]
    ]


@pytest.mark.parametrize("flashes", [1, 2, 3, 4])
@pytest.mark.parametrize("kind", ["strobe", "emergency-lights"])
def test_a_strobe_has_single_to_quadruple_flashes(kind: str, flashes: int) -> None:
    """So many flashes lie in each time, short ones, and then it is dark for longer than between them."""
    for score in scores_of(f"{{kind: {kind}, flashes: {flashes}}}", lamps=2):
        usual = FLASHERS[kind].rate.usual
        levels = frames(score)
        assert abs(rises(levels) - MINUTES * usual * flashes) <= 2 * flashes
        dark = [number for lit, number in runs(levels) if not lit]
        assert max(dark) > 3 * min(dark) or flashes == 1


@pytest.mark.parametrize("kind", [name for name, rules in FLASHERS.items() if rules.shape is Shape.BLINK])
def test_a_light_that_blinks_is_lit_for_its_part(kind: str) -> None:
    """Of ten minutes it is lit for the part that is asked for, to a hundredth."""
    for part in {FLASHERS[kind].lit.usual, FLASHERS[kind].lit.least, FLASHERS[kind].lit.most}:
        levels = frames(scores_of(f"{{kind: {kind}, lit: {part}%}}", lamps=2)[0])
        assert abs(sum(level > 0 for level in levels) * 100 - (part or 0) * len(levels)) < 2 * len(levels)


@pytest.mark.parametrize(
    ("across", "rate"),
    [("10 cm", 4.74), ("1 m", 1.5), ("2 m", 1.06), ("5 m", 0.67)],
)
def test_a_fire_puffs_by_its_width(across: str, rate: float) -> None:
    """An open fire puffs 1.5 / sqrt(metres across) times a second (papers on fire plumes, from memory)."""
    for score in scores_of(f"{{kind: open-fire, diameter: {across}}}", lamps=4):
        assert rate == pytest.approx(peaks(frames(score), UNIT // 25) / 600, rel=0.05)


@pytest.mark.parametrize("rate", [10, 12, 15])
def test_a_small_flame_flickers_ten_to_fifteen_times_a_second(rate: int) -> None:
    """A candle flickers as often as is said (papers on fire plumes, from memory), and never goes dark."""
    for score in scores_of(f"{{kind: small-flame, rate: {rate}}}", lamps=4):
        levels = frames(score)
        assert rate == pytest.approx(peaks(levels, UNIT // 1000) / 600, rel=0.07)
        assert min(levels) > UNIT // 2


def peaks(levels: list[int], least: int) -> int:
    """Return how often the light turns from rising to falling, by more than `least`."""
    count, rising, turn = 0, True, levels[0]
    for level in levels:
        if rising:
            turn = max(turn, level)
            if turn - level > least:
                count, rising, turn = count + 1, False, level
        else:
            turn = min(turn, level)
            if level - turn > least:
                rising, turn = True, level
    return count


@pytest.mark.parametrize(
    ("text", "least", "most"),
    [
        ("airport-beacon", 24, 30),  # FAA AIM 2-1, quoted
        ("{kind: airport-beacon, rate: 30}", 24, 30),
        ("{kind: airport-beacon, place: water}", 24, 30),
        ("{kind: airport-beacon, place: heliport}", 30, 45),
        ("{kind: airport-beacon, place: heliport, rate: 45}", 30, 45),
    ],
)
def test_the_beacon_of_an_airport_keeps_its_rate(text: str, least: int, most: int) -> None:
    """All colours together flash 24 to 30 times a minute, at a heliport 30 to 45 times."""
    counted = rises(frames(scores_of(text)[0]))
    assert MINUTES * least - ONE_MORE <= counted <= MINUTES * most + ONE_MORE


@pytest.mark.parametrize("rate", [6, 7, 8])
def test_a_code_beacon_gives_its_letters_six_to_eight_times_a_minute(rate: int) -> None:
    """The letters come six to eight times a minute (FAA AIM 2-2-2); R is dot, dash, dot: three marks."""
    counted = rises(frames(scores_of(f"{{kind: code-beacon, letters: R, rate: {rate}}}")[0]))
    assert abs(counted - MINUTES * rate * 3) <= 3


@pytest.mark.parametrize("rate", [25, 30, 40])
def test_an_arrow_board_flashes_25_to_40_times_a_minute(rate: int) -> None:
    """Its arrow flashes so often and is lit for half of the time or more (MUTCD 2009 6F.61)."""
    text = f"{{kind: arrow-board, mode: flashing-arrow, direction: left, rate: {rate}}}"
    levels = frames(scores_of(text, lamps=15)[4])
    assert abs(rises(levels) - MINUTES * rate) <= ONE_MORE
    assert 2 * sum(level > 0 for level in levels) >= len(levels) - 60


def test_a_welder_burns_in_irregular_bursts() -> None:
    """An arc burns for 1 to 30 s at a time, no two bursts alike (trade practice, no source)."""
    levels = frames(scores_of("welders-arc")[0])
    bursts = [number for lit, number in runs(levels) if lit]
    assert all(49 <= burst <= 1501 for burst in bursts)
    assert len(set(bursts)) > 5


def test_a_screen_changes_its_scene_every_one_to_ten_seconds() -> None:
    """A scene has a colour of its own and lasts 1 to 10 s (common practice, no source)."""
    for device in "abcd":
        [score] = scores_of("screen", device=device)
        begins = [sample for sample, _hue in score.hues[::2]]
        ends = [sample for sample, _hue in score.hues[1::2]]
        sample = score.tape.period / len(score.tape.samples) / 1e9
        lengths = [(last + 1 - first) * sample for first, last in zip(begins, ends, strict=True)]
        assert 1 <= min(lengths) < max(lengths) <= 11


def test_a_gas_tube_with_a_fault_flickers_one_to_ten_times_a_second() -> None:
    """Between steady stretches it flickers, each flicker a tenth of a second to a second (no published rate)."""
    levels = frames(scores_of("gas-tube-fault")[0])
    turns = [place for place in range(1, len(levels)) if levels[place - 1] < UNIT // 2 <= levels[place]]
    gaps = [later - earlier for earlier, later in pairwise(turns)]
    assert 5 <= min(gaps)
    assert sum(gap <= 50 for gap in gaps) > 50
    assert any(gap > 150 for gap in gaps)


def test_a_tube_starts_within_ten_seconds_and_stays_lit() -> None:
    """Its ends glow 0.5 to 2 s before each try (a lighting-design handbook, quoted), and at last it is fully lit."""
    for score in scores_of("tube-start", lamps=8):
        levels = frames(score)
        assert UNIT == levels[-1]
        lit = next(place for place, level in enumerate(levels) if level > UNIT * 65 // 100 and place > 25)
        assert all(level > UNIT * 65 // 100 for level in levels[600:])
        assert 25 <= lit <= 600


def test_a_tube_that_fails_never_stays_lit() -> None:
    """It tries and tries; with a safety starter it is dark for good after one to three minutes."""
    for score in scores_of("failing-tube", lamps=4):
        levels = frames(score)
        assert 100 < rises(levels, UNIT * 40 // 100)
        assert max(number for lit, number in runs([level > UNIT // 4 for level in levels]) if lit) <= 6
    for score in scores_of("{kind: failing-tube, gives-up: 90 s}", lamps=4):
        levels = frames(score)
        assert any(levels[80 * 50 : 90 * 50])
        assert not any(levels[90 * 50 + 1 :])


@pytest.mark.parametrize(
    ("kind", "least", "most"), [("sodium-lamp", 3, 5), ("high-pressure-sodium", 3, 5), ("mercury-lamp", 4, 7)]
)
def test_a_discharge_lamp_warms_up_in_minutes(kind: str, least: int, most: int) -> None:
    """Sodium takes 3 to 5 minutes, mercury 4 to 7 (trade practice, no source); it never falls back, and ends full."""
    [score] = scores_of(kind)
    levels = frames(score)
    assert all(before <= after for before, after in pairwise(levels))
    assert levels[0] < UNIT // 10
    assert least * 3000 <= levels.index(UNIT) + 2 <= most * 3000
    assert UNIT == levels[-1]
    [first, *_more, last] = score.hues
    assert (0, len(score.tape.samples) - 1) == (first[0], last[0])
    assert first[1] != last[1]
