"""What the finder says of each kind of miswiring, in words and as edits of the layout file."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.errors import EngineError
from bridge.layout.model import Chain
from bridge.trial.find import Finder
from bridge.trial.find_dialogue import Dialogue
from bridge.trial.find_edits import (
    ChipsInOrder,
    Finding,
    FixturesInOrder,
    Kind,
    LampsOfBuild,
    OrderOfFixture,
    OrderOfType,
    Outcome,
    PutIn,
    TakeOut,
)
from bridge.trial.find_places import Seen
from tests.support.miswirings import chain, chain_of
from tests.support.pretend_owner import Owner, RealChain, RealChip, as_filed, hold, resolder


def outcome_of(
    filed: Chain, real: RealChain, *, coloured: bool = True, elsewhere: tuple[str, ...] = ()
) -> Outcome:
    """Let an owner go through it."""
    dialogue = Dialogue(Finder(filed, coloured=coloured, elsewhere=elsewhere))
    hold(dialogue, Owner(real, coloured=coloured))
    return dialogue.finder.outcome()


def only(outcome: Outcome) -> Finding:
    """Return the one finding of the one explanation."""
    ((finding,),) = [each.findings for each in outcome.explanations]
    assert outcome.settled
    return finding


def test_a_chain_that_is_as_the_file_has_it_has_no_findings() -> None:
    """Nothing is found, nothing is open, and the owner is told so."""
    outcome = outcome_of(chain("station"), as_filed(chain("station")))
    ((explanation,), left) = outcome.explanations, outcome.open
    assert ((), (), True) == (explanation.findings, left, outcome.settled)


def test_a_pixel_in_another_order_gets_an_order_of_its_own() -> None:
    """One pixel that takes red first, where all others take green first."""
    real = as_filed(chain("village"))
    real.chips[4] = resolder(real.chips[4], [1, 0, 2])
    finding = only(outcome_of(chain("village"), real))
    assert (Kind.ORDER, ("T5",)) == (finding.kind, finding.fixtures)
    assert "T5 takes its bytes in the order RGB, and the file has GRB" == finding.words
    assert (OrderOfFixture("T5", 1, "RGB"),) == finding.edits


def test_all_pixels_in_another_order_get_one_order() -> None:
    """A whole reel that takes red first is one line in the file."""
    real = as_filed(chain("village"))
    real.chips = [resolder(chip, [1, 0, 2]) for chip in real.chips]
    finding = only(outcome_of(chain("village"), real))
    assert (OrderOfType("tarn", "yard", "ws2812b", "RGB"),) == finding.edits


def test_two_leds_that_are_exchanged_on_one_signal() -> None:
    """The order of its fixture says it: the builds of its like stay as they are."""
    real = as_filed(chain("ladder"))
    real.chips[3] = resolder(real.chips[3], [0, 2, 1])
    finding = only(outcome_of(chain("ladder"), real))
    assert "T4: its green and yellow LEDs are exchanged" == finding.words
    assert (OrderOfFixture("T4", 1, "RBG"),) == finding.edits


def test_leds_that_are_exchanged_on_every_signal_of_a_build() -> None:
    """All of them the same way is an error of the build, unless another chain uses it as well."""
    real = as_filed(chain("ladder"))
    real.chips[:5] = [resolder(chip, [0, 2, 1]) for chip in real.chips[:5]]
    finding = only(outcome_of(chain("ladder"), real))
    assert (LampsOfBuild("three-lamp", (("", "green", 1, 2, 3), ("", "yellow", 1, 3, 2))),) == finding.edits
    several = outcome_of(chain("ladder"), real, elsewhere=("three-lamp",)).explanations[0].findings
    assert [f"T{number}" for number in range(1, 6)] == [each.fixtures[0] for each in several]
    assert {OrderOfFixture("T3", 1, "RBG")} == set(several[2].edits)


def test_two_fixtures_in_each_others_places() -> None:
    """The file gets their lines exchanged."""
    real = as_filed(chain("ladder"))
    real.chips[1], real.chips[6] = real.chips[6], real.chips[1]
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.EXCHANGED, "T2 and T7 stand in each other's places") == (finding.kind, finding.words)
    order = ("T1", "T7", "T3", "T4", "T5", "T6", "T2", "T8")
    assert (FixturesInOrder("tarn", "yard", order),) == finding.edits


def test_a_chain_that_runs_the_other_way_round() -> None:
    """It is said in one sentence; a fixture of several chips is turned round in itself as well."""
    filed = chain_of(("pixel", "three-lamp", "two-headed", "pixel"))
    real = as_filed(filed)
    real.chips.reverse()
    outcome = outcome_of(filed, real)
    ((whole, inside),) = [each.findings for each in outcome.explanations]
    assert Kind.REVERSED == whole.kind
    assert (FixturesInOrder("tarn", "yard", ("T4", "T3", "T2", "T1")),) == whole.edits
    assert (Kind.INSIDE, (ChipsInOrder("T3", (2, 1)),)) == (inside.kind, inside.edits)


def test_a_chip_that_is_not_on_the_line() -> None:
    """What follows is one chip nearer to the node."""
    real = as_filed(chain("ladder"))
    del real.chips[3]
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.MISSING, (TakeOut("T4", 1),)) == (finding.kind, finding.edits)


def test_a_chip_that_the_file_does_not_have() -> None:
    """What follows is one chip farther from the node."""
    real = as_filed(chain("ladder"))
    real.chips.insert(3, RealChip(-1, (None, None, None)))
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.SURPLUS, (PutIn("tarn", "yard", "T3", "ws2811"),)) == (finding.kind, finding.edits)


def test_a_chip_behind_the_last_one_is_found_where_it_lights() -> None:
    """Frames are longer than the file's, and a light that is not listed tells of it."""
    real = as_filed(chain("ladder"))
    real.chips.append(RealChip(-1, (None, None, None)))
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.SURPLUS, (PutIn("tarn", "yard", "T8", "ws2812b"),)) == (finding.kind, finding.edits)


def test_two_chips_that_the_file_counts_once() -> None:
    """Two pixels in one house that both light are asked about again, and then believed."""
    real = as_filed(chain("ladder"))
    real.chips.insert(6, real.chips[6])
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.DOUBLE, ("T7",)) == (finding.kind, finding.fixtures)


def test_a_dead_chip_in_the_line_is_for_the_iron_and_not_for_the_file() -> None:
    """It takes its bytes, so the file stays as it is."""
    real = as_filed(chain("ladder"))
    real.chips[3] = replace(real.chips[3], shows=False)
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.DARK, ("T4",), ()) == (finding.kind, finding.fixtures, finding.edits)


def test_one_led_that_never_lights() -> None:
    """It is asked again, believed, and named."""
    real = as_filed(chain("ladder"))
    lights = [
        light if light is None or light.lamp != "red" else replace(light, dead=True)
        for light in real.chips[3].lights
    ]
    real.chips[3] = replace(real.chips[3], lights=tuple(lights))
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.BROKEN, "T4 red never lights: the LED is dead, turned round, or not connected") == (
        finding.kind,
        finding.words,
    )


def test_data_that_end_on_the_way() -> None:
    """From a chip on nothing lights."""
    real = as_filed(chain("ladder"))
    real.chips[3] = replace(real.chips[3], shows=False, passes=False)
    finding = only(outcome_of(chain("ladder"), real))
    assert (Kind.END, ("T4", "T5", "T6", "T7", "T8")) == (finding.kind, finding.fixtures)


def test_a_last_chip_that_is_dark_leaves_two_explanations() -> None:
    """Dead or not there: no picture can tell, and both are said."""
    real = as_filed(chain("ladder"))
    real.chips[7] = replace(real.chips[7], shows=False)
    outcome = outcome_of(chain("ladder"), real)
    assert [Kind.END, Kind.MISSING] == [each.findings[0].kind for each in outcome.explanations]
    assert () == outcome.common


def test_one_of_two_neighbours_is_dead_and_the_other_is_not_there() -> None:
    """Which of them is which nobody can see."""
    real = as_filed(chain("ladder"))
    real.chips[3:5] = [replace(real.chips[3], shows=False)]
    outcome = outcome_of(chain("ladder"), real)
    told = [{each.kind: each.fixtures for each in way.findings} for way in outcome.explanations]
    assert [
        {Kind.DARK: ("T4",), Kind.MISSING: ("T5",)},
        {Kind.DARK: ("T5",), Kind.MISSING: ("T4",)},
    ] == told


def test_a_line_that_is_forked() -> None:
    """Two signals on the same data show the same bytes."""
    real = as_filed(chain("ladder"))
    lights = real.chips[2].lights
    del real.chips[2]
    finder = Finder(chain("ladder"))
    numbers = {str(sight): number for number, sight in enumerate(finder.sights.all)}
    while (question := finder.question) is not None:
        seen = [light for light in real.lit(question.picture) if light is not None]
        beside = [lights[at] for at in range(3) if question.picture[3 + at]]
        named = [light.said(coloured=True).replace(" head", "") for light in (*seen, *beside) if light]
        finder.answer(Seen(frozenset(numbers[each] for each in named)))
    ((finding,),) = [each.findings for each in finder.outcome().explanations]
    assert (Kind.FORKED, ("T2", "T3")) == (finding.kind, finding.fixtures)


def test_discrete_leds_are_told_by_their_places_without_colours() -> None:
    """Top and middle are places; in which order a pixel takes its bytes is said to be open."""
    real = as_filed(chain("ladder"))
    real.chips[3] = resolder(real.chips[3], [0, 2, 1])
    real.chips[6] = resolder(real.chips[6], [1, 0, 2])
    outcome = outcome_of(chain("ladder"), real, coloured=False)
    ((finding,),) = [each.findings for each in outcome.explanations]
    assert "T4: its top and middle LEDs are exchanged" == finding.words
    assert [(Kind.UNTOLD, ("T6", "T7", "T8"))] == [(each.kind, each.fixtures) for each in outcome.open]


def test_what_cannot_be_seen_is_said_to_be_open() -> None:
    """A fixture behind a hill is asked about a few times, and then left alone."""
    dialogue = Dialogue(Finder(chain("ladder")))
    answers = hold(dialogue, Owner(as_filed(chain("ladder")), blind_to=frozenset({"T5"})))
    outcome = dialogue.finder.outcome()
    assert answers < 12
    assert not outcome.settled
    assert [("T5",)] == [each.fixtures for each in outcome.open]
    assert () == outcome.explanations[0].findings


def test_an_answer_out_of_turn_or_about_nothing_is_refused() -> None:
    """It raises, and changes nothing."""
    with pytest.raises(EngineError, match="1 to 8 bytes"):
        Finder(chain("ladder"), at_once=9)
    finder = Finder(chain("ladder"))
    with pytest.raises(EngineError, match="does not have"):
        finder.answer(Seen(frozenset({999})))
    assert 0 == finder.answers
    while finder.question is not None:
        finder.answer(Seen(frozenset(finder.question.expected)))
    with pytest.raises(EngineError, match="nothing is asked"):
        finder.answer(None)
