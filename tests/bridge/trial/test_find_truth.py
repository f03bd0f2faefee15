"""The wiring finder against chains that were really soldered otherwise: it finds the truth, or says what is left."""

from __future__ import annotations

import sys
from collections.abc import Callable
from statistics import median

import pytest

from bridge.trial.find import Finder
from bridge.trial.find_dialogue import Dialogue
from tests.support.miswirings import CHAINS, WAYS, Case, by_chance, chain, chance_of, soldered, untrue
from tests.support.pretend_owner import Owner, as_filed, hold

CASES = 1000
LOTS = 4


def found(case: Case, *, coloured: bool = True, at_once: int = 6) -> tuple[Dialogue, int]:
    """Let an owner who never errs go through it."""
    dialogue = Dialogue(Finder(case.chain, coloured=coloured, at_once=at_once))
    return dialogue, hold(dialogue, Owner(case.real, coloured=coloured))


@pytest.mark.parametrize("lot", range(LOTS))
def test_the_truth_is_found_in_every_one_of_a_thousand_chains(
    lot: int, record_property: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Every explanation that is left shows what the truth shows for any picture of one byte, and one is the truth."""
    walks, answers, wrong = [], [], []
    for seed in range(lot * CASES // LOTS, (lot + 1) * CASES // LOTS):
        case = by_chance(chance_of(seed))
        dialogue, questions = found(case)
        outcome = dialogue.finder.outcome()
        problem = untrue(case, outcome) if outcome.settled else "it is not settled"
        wrong += [f"{seed} {case.ways}: {problem}"] * bool(problem)
        answers.append(questions)
        walks.append(case.chain.length)
    assert [] == wrong
    ordered = sorted(answers)
    told = (
        f"questions: median {median(ordered):g}, nine in ten {ordered[len(ordered) * 9 // 10]} or fewer, most "
        f"{ordered[-1]}; channel by channel: median {median(walks):g}"
    )
    record_property("questions", told)
    with capsys.disabled():
        sys.stdout.write(f"\n  {told} ")
    assert median(answers) * 3 < median(walks)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", CHAINS)
def test_each_way_of_miswiring_is_found(name: str, way: str) -> None:
    """Each way by itself, on each chain."""
    real = as_filed(chain(name))
    WAYS[way](real, chance_of(7))
    case = Case(chain(name), real, (way,))
    outcome = found(case)[0].finder.outcome()
    assert outcome.settled
    assert "" == untrue(case, outcome)


@pytest.mark.parametrize("first", WAYS)
@pytest.mark.parametrize("second", WAYS)
def test_any_two_ways_together_are_found(first: str, second: str) -> None:
    """Each pair of ways on the chain with shared chips, two heads, a transistor stage and a lamp on three channels."""
    real = as_filed(chain("station"))
    chance = chance_of(f"{first} {second}")
    WAYS[first](real, chance)
    WAYS[second](real, chance)
    case = Case(chain("station"), real, (first, second))
    outcome = found(case)[0].finder.outcome()
    assert outcome.settled
    assert "" == untrue(case, outcome)


def test_without_colours_the_same_is_found_as_far_as_places_tell() -> None:
    """Explanations that are left look the same to eyes that go by place and by on and off alone."""
    wrong = []
    for seed in range(150):
        case = by_chance(chance_of(seed))
        dialogue, _questions = found(case, coloured=False)
        outcome = dialogue.finder.outcome()
        problem = untrue(case, outcome, coloured=False) if outcome.settled else "it is not settled"
        wrong += [f"{seed} {case.ways}: {problem}"] * bool(problem)
        words = [each.words for each in outcome.open]
        assert (
            any("cannot be told without colours" in each for each in words) or "pixel" not in case.chain.name
        )
    assert [] == wrong


@pytest.mark.parametrize("at_once", [1, 2, 8])
def test_it_may_light_fewer_or_more_at_a_time(at_once: int) -> None:
    """With one light at a time there is nothing to list and more to ask, and the truth is the same."""
    for seed in range(20):
        case = by_chance(chance_of(seed), ("ladder", "mixed"))
        dialogue, _questions = found(case, at_once=at_once)
        assert "" == untrue(case, dialogue.finder.outcome())


def test_a_picture_never_lights_more_than_it_may_and_never_two_bytes_of_a_chip() -> None:
    """Of a chain without transistor stages at most six bytes are lit, and of one chip one."""
    for seed in range(40):
        case = by_chance(chance_of(seed), ("ladder", "village", "mixed"))
        dialogue = Dialogue(Finder(case.chain))
        owner = Owner(case.real)
        while (picture := dialogue.picture) is not None:
            lit = [at for at, byte in enumerate(picture) if byte]
            assert set(picture) <= {0, 255}
            assert 1 <= len(lit) <= 6
            seen = [light for light in case.real.lit(picture) if light is not None]
            assert len(seen) <= 6
            for chip in case.real.chips:
                assert sum(light in seen for light in chip.lights if light is not None) <= 1 or not chip.shows
            dialogue.say(owner.answer(dialogue))


def test_the_comparison_can_fail() -> None:
    """An outcome that is not the truth is seen to be none."""
    case = Case(chain("ladder"), as_filed(chain("ladder")), ())
    outcome = found(case)[0].finder.outcome()
    assert "" == untrue(case, outcome)
    for way in WAYS:
        real = as_filed(chain("ladder"))
        WAYS[way](real, chance_of(3))
        if real.chips != case.real.chips and way != "surplus":
            assert "" != untrue(Case(case.chain, real, (way,)), outcome), way
    assert soldered(case.chain, outcome.explanations[0]).chips == case.real.chips


def test_an_owner_who_errs_is_asked_again() -> None:
    """With one wrong look in twelve answers, most chains are still found, and hardly any is wrong without a word."""
    right, unsure, wrong, noticed = 0, 0, 0, 0
    for seed in range(120):
        case = by_chance(chance_of(seed), ("ladder", "village", "station", "mixed"))
        dialogue = Dialogue(Finder(case.chain))
        owner = Owner(case.real, errs=12, chance=chance_of(seed))
        repeats = 0
        while not dialogue.finished:
            question = dialogue.finder.question
            repeats += question is not None and bool(question.again)
            assert "" == dialogue.say(owner.answer(dialogue))
            assert dialogue.finder.answers < 200
        if owner.errors:
            noticed += repeats > 0
            outcome = dialogue.finder.outcome()
            if not outcome.settled:
                unsure += 1
            elif untrue(case, outcome):
                wrong += 1
            else:
                right += 1
    assert right > 5 * (wrong + unsure)
    assert noticed * 10 > 7 * (right + wrong + unsure)
