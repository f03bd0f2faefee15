"""What every effect has in common: it is the same each time, stays within its bounds, and shares its tapes."""

from __future__ import annotations

import subprocess
import sys
from typing import Final

import pytest

from bridge.layout.effects.read import READERS
from bridge.light.chance import Draws, mixed, seed_of
from bridge.light.effects import compose, flashes, hues_of, stilled
from bridge.light.tapes import LONGEST_TAPE, UNIT, Score
from tests.support.playing import effect_of, frames, lamps_of, scores_of

LAMPS: Final = 15

MORE: Final = {
    "arrow-board": "{kind: arrow-board, mode: sequential-arrow, direction: right}",
    "traffic-lights": "{kind: traffic-lights, rules: germany, approaches: {main: {red: 1, yellow: 2, green: 3}}}",
    "programme": "{kind: programme, steps: [{lit: 1, time: 2 s}, {lit: [2, 3], time: 1 s}]}",
    "light-character": "Fl(2+1) 15s",
    "code-beacon": "{kind: code-beacon, letters: RH}",
}
"""What has to be said of those kinds whose word alone says too little."""

TEXTS: Final = [
    *(MORE.get(kind, kind) for kind in READERS),
    "{kind: chase, every: 5, lit: 2, tail: 2, direction: backward}",
    "{kind: running-light, direction: to-and-fro}",
    "{kind: failing-tube, gives-up: 1 min}",
    "{kind: rotating-beacon, rate: 67}",
    "{kind: strobe, rate: 179, flashes: 4}",
    "Al.Fl.WRG 9.97s",
    "{kind: airport-beacon, place: military, rate: 29}",
]

EACH: Final = pytest.mark.parametrize("text", TEXTS)


@EACH
def test_light_stays_between_none_and_all(text: str) -> None:
    """No tape holds less than no light or more than all of it, or is longer than a tape may be."""
    scores = scores_of(text, LAMPS)
    assert any(max(score.tape.samples) > UNIT // 2 for score in scores)
    for score in scores:
        assert 0 <= min(score.tape.samples) <= max(score.tape.samples) <= UNIT
        assert 1 <= len(score.tape.samples) <= LONGEST_TAPE
        assert score.tape.period >= len(score.tape.samples)
        assert {type(each) for each in score.tape.samples} == {int}


@EACH
def test_hues_stand_on_samples_in_their_order(text: str) -> None:
    """The colours of a score are pure at samples that its tape has, one after the other."""
    for score in scores_of(text, LAMPS):
        places = [sample for sample, _hue in score.hues]
        assert sorted(set(places)) == places
        assert all(0 <= place < len(score.tape.samples) for place in places)


@EACH
def test_one_device_is_always_the_same(text: str) -> None:
    """Whatever is drawn by chance follows from the name of the device alone."""
    assert scores_of(text, LAMPS, "mill") == scores_of(text, LAMPS, "mill")


IN_STEP: Final = {"steady", "sodium-lamp", "high-pressure-sodium", "mercury-lamp", "chase", "running-light"}
"""Effects that begin when they are switched on, and are the same for everyone."""


def test_two_devices_do_not_run_in_step_unless_they_should() -> None:
    """Lamps of two devices of one kind differ; those that belong together everywhere are in step."""
    together = set[str]()
    for kind in READERS:
        text = MORE.get(kind, kind)
        plays = {tuple(scores_of(text, LAMPS, f"device {number}")) for number in range(12)}
        if len(plays) == 1:
            together.add(kind)
        else:
            assert len(plays) >= 7, kind
    prescribed = {"obstruction-red", "obstruction-white", "runway-end-lights", "approach-flashers"}
    programmed = {"arrow-board", "traffic-lights", "programme"}
    assert IN_STEP | prescribed | programmed == together


@pytest.mark.parametrize("kind", ["flash", "rotating-beacon", "strobe"])
def test_an_owner_may_have_them_in_step(kind: str) -> None:
    """With `in-step: true` all begin as they are switched on."""
    text = f"{{kind: {kind}, in-step: true}}"
    assert scores_of(text, 2, "one") == scores_of(text, 2, "other")
    assert UNIT == frames(scores_of(text, 1)[0], 1)[0]


@EACH
def test_ten_thousand_lamps_share_few_tapes(text: str) -> None:
    """2,000 devices of five lamps have no more tapes than one device needs, or than the few variants there are."""
    effect = effect_of(text, lamps_of(LAMPS))
    tapes = {
        id(score.tape) for number in range(2000) for score in compose(effect, 5, seed_of(f"device {number}"))
    }
    assert len(tapes) <= 8


def test_no_draw_depends_on_the_run() -> None:
    """A run with another hash seed draws and plays the same."""
    program = (
        "from tests.support.playing import scores_of\n"
        "from hashlib import sha256\n"
        "print(sha256(repr([scores_of(text, 3, 'mill') for text in "
        "('open-fire', 'screen', 'welders-arc', 'gas-tube-fault', 'tube-start')]).encode()).hexdigest())"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": "."},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert 1 == len(said)


def test_draws_are_those_that_were_published() -> None:
    """The mix is that of SplitMix64: its first three numbers for seed 1234567 are known (Vigna's reference code)."""
    assert [6457827717110365317, 3203168211198807973, 9817491932198370423] == [
        mixed(1234567, number) for number in range(3)
    ]


def test_draws_are_spread_evenly() -> None:
    """Of ten thousand draws from ten numbers each comes about a thousand times, and no bound is overstepped."""
    draws = Draws(seed_of("mill"), "test")
    drawn = [draws.below(10) for _ in range(10_000)]
    assert all(850 < drawn.count(number) < 1150 for number in range(10))
    assert set(range(3, 6)) == {draws.between(3, 5) for _ in range(100)}


@EACH
def test_nothing_flashes_when_it_is_stilled(text: str) -> None:
    """A stilled lamp has one steady light; what flashed is lit, so that nothing is missing."""
    effect = effect_of(text, lamps_of(LAMPS))
    shares = stilled(effect, LAMPS)
    assert LAMPS == len(shares)
    assert all(0 <= share <= UNIT for share in shares)
    gone = "gives-up" in text
    assert any(shares) is not gone


def test_what_flashes_is_known() -> None:
    """What a switch for the care of people stills is all that flashes or flickers, and nothing else."""
    still = {kind for kind in READERS if not flashes(effect_of(MORE.get(kind, kind), lamps_of(LAMPS)))}
    assert {
        "steady",
        "traffic-lights",
        "sodium-lamp",
        "high-pressure-sodium",
        "mercury-lamp",
    } == still - {"programme"}
    assert not flashes(effect_of("F R"))
    assert flashes(effect_of("Iso 10s"))


def test_the_colours_that_are_asked_for_are_told() -> None:
    """Whoever mixes colours can ask which there are."""
    assert ("white", "green") == hues_of(scores_of("airport-beacon"))
    assert () == hues_of(scores_of("flash"))
    assert ("red",) == hues_of((Score(scores_of("flash")[0].tape, ((0, "red"), (1, "red"))),))
