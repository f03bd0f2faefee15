"""The talk with the owner: what is asked, what is understood, and what becomes of answers that do not fit."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.trial.find import Finder
from bridge.trial.find_dialogue import HELP, Dialogue
from tests.support.miswirings import chain
from tests.support.pretend_owner import Owner, as_filed, hold


def begun(name: str = "ladder", *, coloured: bool = True) -> Dialogue:
    """Return a talk at its first question."""
    return Dialogue(Finder(chain(name), coloured=coloured))


def listed(dialogue: Dialogue) -> list[str]:
    """Return what the present question lists."""
    return re.findall(r"^ +\d+  (.*)$", dialogue.prompt, re.MULTILINE)


def test_a_question_lists_what_should_be_lit_and_says_how_many_are_left() -> None:
    """The first question of a small chain, as the owner reads it."""
    prompt = begun("bench").prompt
    assert (
        "Question 1; about 1 question left, with this one.\n"
        "By what is known so far there are lit now:\n"
        f"  1  {listed(begun('bench'))[0]}\n"
        f"  2  {listed(begun('bench'))[1]}\n"
        "What do you see? (yes, nothing, ?, or what differs; help says how)"
    ) == prompt


def test_all_is_well_after_a_few_times_yes() -> None:
    """An owner who sees what is listed types nothing but yes, and is done about when it was said."""
    dialogue = begun("village")
    first = dialogue.finder.left
    answers = 0
    while not dialogue.finished:
        assert "" == dialogue.say("Yes")
        answers += 1
    assert "tarn/yard is wired as the file has it." == dialogue.prompt
    assert None is dialogue.picture
    assert first - 2 <= answers <= first + 3


@pytest.mark.parametrize(
    ("line", "lit", "unsure", "other"),
    [
        ("yes", "1 2", "", False),
        ("  YES ", "1 2", "", False),
        ("nothing", "", "", False),
        ("1 off", "2", "", False),
        ("2 dark, + other", "1", "", True),
        ("only 2", "2", "", False),
        ("only + T1 red; T2 yellow", "T1_red T2_yellow", "", False),
        ("only other", "", "", True),
        ("1 ?", "2", "of_1", False),
        ("1 on", "1 2", "", False),
        ("+ T1 green", "1 2 T1_green", "", False),
        ("+t1 HEAD blue", "1 2 T1_blue", "", False),
    ],
)
def test_what_is_typed_is_understood(line: str, lit: str, unsure: str, *, other: bool) -> None:
    """Each form of an answer."""
    dialogue = begun("bench")
    question = dialogue.finder.question
    assert question is not None
    names = {str(sight).replace(" ", "_"): number for number, sight in enumerate(dialogue.finder.sights.all)}
    names |= {str(place): number for place, number in enumerate(question.expected, start=1)}
    seen = dialogue._seen(" ".join(line.lower().split()))
    assert seen is not None
    assert {names[each] for each in lit.split()} == seen.lit
    fixture = dialogue.finder.sight(question.expected[0]).fixture
    of_first = {number for number, sight in enumerate(dialogue.finder.sights.all) if sight.fixture == fixture}
    assert (of_first if unsure else set()) == seen.unsure
    assert other is seen.other


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("", "Nothing was typed"),
        ("perhaps", "'perhaps' begins with no number of the list and no fixture of this chain (T1, T2"),
        ("7 off", "There is no number 7: the list has 1 to 2"),
        ("1 pink", "'pink' does not say which light of "),
        ("T1 red", "T1 is number 1 of the list: say `1 red` if it shows that and not what is listed"),
        ("yes and no", "'yes and no' begins with"),
    ],
)
def test_what_is_not_understood_changes_nothing_and_says_why(line: str, said: str) -> None:
    """The same question stands there still."""
    dialogue = begun("bench")
    before = dialogue.prompt
    assert said in dialogue.say(line)
    assert before == dialogue.prompt
    assert 0 == dialogue.finder.answers
    assert HELP == dialogue.say("help")


@given(st.lists(st.text(alphabet="T12 redyesof?,;+nlthu", max_size=14), max_size=6))
def test_no_line_breaks_the_talk(lines: list[str]) -> None:
    """Whatever is typed is an answer or a reason, never an error."""
    dialogue = begun("bench")
    for line in lines:
        assert isinstance(dialogue.say(line), str)
        assert dialogue.prompt


def test_an_answer_can_be_taken_back() -> None:
    """The same question comes again, word by word, as often as there were answers."""
    dialogue, prompts = begun("station"), []
    owner = Owner(as_filed(chain("station")))
    while not dialogue.finished:
        prompts.append(dialogue.prompt)
        dialogue.say(owner.answer(dialogue))
    for prompt in reversed(prompts):
        assert "" == dialogue.say("undo")
        assert prompt == dialogue.prompt
    assert "There is no answer to take back." == dialogue.say("undo")


def test_a_wrong_look_is_asked_again_and_can_be_put_right() -> None:
    """A light that was overlooked once contradicts the other answers: that picture is shown again."""
    dialogue = begun("village")
    owner = Owner(as_filed(chain("village")))
    dialogue.say("1 off")
    again = []
    while not dialogue.finished:
        question = dialogue.finder.question
        assert question is not None
        again += [question.number] * bool(question.again)
        dialogue.say(owner.answer(dialogue))
    assert [1] == again
    assert "tarn/yard is wired as the file has it." == dialogue.prompt


def test_the_reason_names_the_answers_that_do_not_fit() -> None:
    """Whoever is asked again reads of which chip, and against which other answers."""
    dialogue = begun("bench")
    owner = Owner(as_filed(chain("bench")))
    dialogue.say("only T1 red, T1 green, T2 red, T2 green")
    while not dialogue.finished and "again" not in dialogue.prompt.split("\n")[0]:
        dialogue.say(owner.answer(dialogue))
    assert re.match(
        r"Question \d again: what you saw then of T\d cannot be( true together with your answers to \d|\.)",
        dialogue.prompt,
    )


def test_who_cannot_say_is_asked_something_else_and_at_last_left_alone() -> None:
    """Nothing but `?` comes to an end, with everything open."""
    dialogue, answers = begun("station"), 0
    while not dialogue.finished:
        dialogue.say("?")
        answers += 1
        assert answers < 30
    assert dialogue.prompt.startswith("- not found out yet: T1, ")


def test_one_who_cannot_say_once_loses_nothing() -> None:
    """A single `?` costs a question, and the rest is found."""
    dialogue = begun("ladder")
    dialogue.say("?")
    hold(dialogue, Owner(as_filed(chain("ladder"))))
    assert "tarn/yard is wired as the file has it." == dialogue.prompt


def test_the_owner_may_stop_and_go_on() -> None:
    """Stopping gives what is known; an undo goes back into the talk."""
    dialogue = begun("ladder")
    dialogue.say("yes")
    dialogue.say("stop")
    assert dialogue.finished
    assert "not found out yet" in dialogue.prompt
    assert "nothing more to ask" in dialogue.say("yes")
    assert "" == dialogue.say("undo")
    assert not dialogue.finished


def test_without_colours_only_places_are_listed() -> None:
    """No question names a colour to eyes that do not tell red from green."""
    dialogue = begun("ladder", coloured=False)
    owner = Owner(as_filed(chain("ladder")), coloured=False)
    while not dialogue.finished:
        assert not re.search(r"red|green|yellow|blue", "\n".join(listed(dialogue)))
        dialogue.say(owner.answer(dialogue))
    assert "cannot be told without colours" in dialogue.prompt
