"""What the finder proposes for the layout file makes the file say what is soldered."""

from __future__ import annotations

import pytest

from bridge.layout.edit import differences
from bridge.trial.find import Finder
from bridge.trial.find_dialogue import Dialogue
from bridge.trial.find_edits import Kind
from bridge.trial.find_rewrite import NOT_TOLD_APART, Rewriting, not_for_one_chain, rewritten
from tests.support.driving import layout as layout_of
from tests.support.miswirings import CHAINS, by_chance, chain, chance_of, text_of
from tests.support.pretend_owner import Owner, RealChain, RealChip, as_filed, hold, resolder

FOR_THE_IRON = {Kind.DARK, Kind.END, Kind.BROKEN, Kind.FORKED}
"""What the file cannot say, since it is to be mended."""


def looked(text: str, real: RealChain, *, coloured: bool = True) -> tuple[Rewriting, Dialogue]:
    """Let an owner go through the first chain of a file; return what becomes of the file, and the talk."""
    layout = layout_of(text)
    filed = layout.chains[0]
    elsewhere = not_for_one_chain(text, layout, filed)
    dialogue = Dialogue(Finder(filed, coloured=coloured, elsewhere=elsewhere))
    hold(dialogue, Owner(real, coloured=coloured))
    return rewritten(dialogue.finder.outcome(), text, layout), dialogue


def changed(text: str, new: Rewriting) -> list[str]:
    """Return the lines that would go and those that would come."""
    return [line[0] + line[1:].strip() for line in differences(text, new.text, "it")[2:] if line[0] in "+-"]


@pytest.mark.parametrize("lot", range(3))
def test_what_is_written_is_what_is_soldered(lot: int) -> None:
    """Chains miswired by chance: unless something is left to be done by hand, the new file lights what truth does."""
    compared = 0
    for seed in range(lot * 40, lot * 40 + 40):
        case = by_chance(chance_of(seed))
        name = next(each for each in CHAINS if chain(each) is case.chain)
        new, dialogue = looked(text_of(CHAINS[name]), case.real)
        layout = layout_of(new.text)
        kinds = {each.kind for way in dialogue.finder.outcome().explanations for each in way.findings}
        if new.by_hand or kinds & FOR_THE_IRON:
            continue
        compared += 1
        length = case.chain.length + 12
        said = as_filed(layout.chains[0]).answers(length, coloured=True)
        assert case.real.answers(length, coloured=True) == said, (seed, case.ways)
    assert compared > 12


def test_orders_and_places_are_lines_of_the_file() -> None:
    """A reel that takes red first, and two fixtures in each other's places: each is one difference, remarks stay."""
    text = text_of(CHAINS["ladder"]).replace(
        "- {name: T7, build: pixel}", "- {name: T7, build: pixel} # the mill"
    )
    real = as_filed(layout_of(text).chains[0])
    real.chips[5:] = [resolder(chip, [1, 0, 2]) for chip in real.chips[5:]]
    real.chips[1], real.chips[6] = real.chips[6], real.chips[1]
    new, _dialogue = looked(text, real)
    assert ((), ()) == (new.marks, new.by_hand)
    assert "+order: {ws2812b: RGB}" in changed(text, new)
    assert "+- {name: T7, build: pixel} # the mill" in changed(text, new)
    again, dialogue = looked(new.text, real)
    assert new.text == again.text
    assert "tarn/yard is wired as the file has it." == dialogue.prompt


def test_a_build_of_this_chain_alone_is_changed_and_one_of_others_is_not() -> None:
    """The same soldering on every signal: channels of the build, or an order for each where another chain uses it."""
    text = text_of(CHAINS["ladder"])
    real = as_filed(chain("ladder"))
    real.chips[:5] = [resolder(chip, [0, 2, 1]) for chip in real.chips[:5]]
    new, _dialogue = looked(text, real)
    assert [
        "-three-lamp: {chips: [ws2811], lamps: {green: {channel: 2}, yellow: {channel: 3}, red: {channel: 1}}}",
        "+three-lamp: {chips: [ws2811], lamps: {green: {channel: 3}, yellow: {channel: 2}, red: {channel: 1}}}",
    ] == changed(text, new)
    other = "      - {name: shed, fixtures: [{name: S1, build: three-lamp}]}\n"
    new, _dialogue = looked(text + other, real)
    assert [f"+- {{name: T{n}, build: three-lamp, order: RBG}}" for n in range(1, 6)] == [
        line for line in changed(text + other, new) if line[0] == "+"
    ]
    planned = text + "          - {name: T9, build: three-lamp, planned: true}\n"
    new, _dialogue = looked(planned, real)
    assert 5 == sum(line[0] == "+" for line in changed(planned, new))
    assert looked(new.text, real)[0].text == new.text


def test_a_lamp_on_several_channels_leaves_its_build_alone() -> None:
    """Its channels stand in a list, so the fixtures get orders."""
    text = text_of(("street", "street", "pixel"))
    layout = layout_of(text)
    assert {"street"} == not_for_one_chain(text, layout, layout.chains[0])


def test_a_chip_that_is_not_on_the_line_is_bypassed() -> None:
    """Of a fixture with one chip and of one with two, whichever of them; what follows is right again."""
    text = text_of(CHAINS["station"])
    real = as_filed(chain("station"))
    del real.chips[2]
    new, _dialogue = looked(text, real)
    assert ["+- {name: T2, build: two-headed, bypassed: 2}"] == [
        line for line in changed(text, new) if line[0] == "+"
    ]
    assert new.marks[0].startswith("chip 2 of T2 is marked as bypassed, and what hangs on it is out of use.")
    again, dialogue = looked(new.text, real)
    assert ("tarn/yard is wired as the file has it.", new.text) == (dialogue.prompt, again.text)


def test_chips_are_counted_in_their_build_where_one_is_bypassed_already() -> None:
    """The second chip of a fixture is the first one on the line; its order is written where it belongs."""
    text = text_of(("pixel", "two-headed", "pixel")).replace(
        "{name: T2, build: two-headed}", "{name: T2, build: two-headed, bypassed: 1}"
    )
    real = as_filed(layout_of(text).chains[0])
    real.chips[1] = resolder(real.chips[1], [1, 0, 2])
    new, _dialogue = looked(text, real)
    assert "bypassed: 1, order: [null, " in new.text
    assert new.text == looked(new.text, real)[0].text


def test_where_the_data_end_the_chip_is_broken_until_it_is_mended() -> None:
    """What is behind it is out of use; the next time the file says so already."""
    text = text_of(CHAINS["ladder"])
    real = as_filed(chain("ladder"))
    real.chips[3] = RealChip(3, real.chips[3].lights, shows=False, passes=False)
    new, _dialogue = looked(text, real)
    assert ["+- {name: T4, build: three-lamp, broken: 1}"] == [
        line for line in changed(text, new) if line[0] == "+"
    ]
    assert "chip 1 of T4 is marked as broken" in new.marks[0]
    again, _dialogue = looked(new.text, real)
    assert (new.text, ()) == (again.text, again.marks)


def test_what_only_its_owner_can_write_is_said_in_words() -> None:
    """A chip that is not in the file, one fixture that runs the other way round, and what cannot be told apart."""
    filed = text_of(("pixel", "two-headed", "pixel"))
    real = as_filed(layout_of(filed).chains[0])
    real.chips[1], real.chips[2] = real.chips[2], real.chips[1]
    new, _dialogue = looked(filed, real)
    assert (filed, ()) == (new.text, new.marks)
    assert new.by_hand[0].startswith(
        "T2 needs a build of its own: a copy of its present one, whose chips stand in"
    )
    text = text_of(CHAINS["ladder"])
    real = as_filed(chain("ladder"))
    real.chips.insert(3, RealChip(-1, (None, None, None)))
    new, _dialogue = looked(text, real)
    assert new.by_hand[0].startswith("take the chip off the line, or write it down behind T3: ")
    real = as_filed(chain("ladder"))
    del real.chips[7]
    new, _dialogue = looked(text, real)
    assert (text, (NOT_TOLD_APART,)) == (new.text, new.by_hand)


def test_what_cannot_be_changed_line_by_line_is_left_to_its_owner_with_the_reason() -> None:
    """A build that two names stand for; the rest is proposed all the same."""
    text = text_of(CHAINS["ladder"]).replace("three-lamp: {", "three-lamp: &lamps {")
    text = text.replace("nodes:\n", "  spare: *lamps\nnodes:\n")
    real = as_filed(layout_of(text).chains[0])
    real.chips[:5] = [resolder(chip, [0, 2, 1]) for chip in real.chips[:5]]
    real.chips[6] = resolder(real.chips[6], [1, 0, 2])
    new, _dialogue = looked(text, real)
    assert ["+- {name: T7, build: pixel, order: RGB}"] == [
        line for line in changed(text, new) if line[0] == "+"
    ]
    assert new.by_hand[0].startswith("every three-lamp of tarn/yard is soldered otherwise: ")
    assert "change it by hand" in new.by_hand[0]
