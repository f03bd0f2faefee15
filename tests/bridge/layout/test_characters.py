"""Light characters: what a chart writes is read and shown as its class says, or refused at its place."""

from __future__ import annotations

from math import gcd
from typing import Final

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bridge.layout.effects.character_times import HUNDREDTH, phases
from bridge.layout.effects.characters import COLOURS, RHYTHMS, NotationError, parse_character
from bridge.layout.effects.families import Phase
from bridge.layout.effects.morse import MORSE
from bridge.light.tapes import LONGEST_TAPE, UNIT
from tests.support.layouts import HERE, places
from tests.support.notations import Written, notations
from tests.support.playing import light, read, scores_of

SECOND: Final = 100 * HUNDREDTH


def shown(text: str) -> tuple[Phase, ...]:
    """Return one period of a character."""
    return phases(parse_character(text))


def seconds(text: str) -> list[tuple[bool, float]]:
    """Return for how many seconds it is lit and dark, by turns."""
    return [(phase.light == 100, phase.time / SECOND) for phase in shown(text)]


LIT, DARK = True, False


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # The standard table of characters (NATO M-12, 2004).
        ("Iso 10s", [(LIT, 5), (DARK, 5)]),
        ("Oc 12s", [(DARK, 2), (LIT, 10)]),
        ("Oc(2) 13s", [(DARK, 1), (LIT, 1), (DARK, 1), (LIT, 10)]),
        ("Oc(2+1) 12s", [(DARK, 1), (LIT, 1), (DARK, 1), (LIT, 4), (DARK, 1), (LIT, 4)]),
        # Chart No. 1, P 10.5: a long flash lasts 2 s or more.
        ("LFl 10s", [(LIT, 2), (DARK, 8)]),
        # Chart No. 1, P 10.6 to P 10.8: usually 60, 120 and 240 a minute. How much of it is lit: common practice.
        ("Q", [(LIT, 0.3), (DARK, 0.7)]),
        ("VQ", [(LIT, 0.2), (DARK, 0.3)]),
        ("UQ", [(LIT, 0.1), (DARK, 0.15)]),
        ("Q(3) 10s", [(LIT, 0.3), (DARK, 0.7), (LIT, 0.3), (DARK, 0.7), (LIT, 0.3), (DARK, 7.7)]),
        ("VQ(6)+LFl 10s", [*[(LIT, 0.2), (DARK, 0.3)] * 6, (LIT, 2), (DARK, 5)]),
        ("IQ 12s", [*[(LIT, 0.3), (DARK, 0.7)] * 7, (LIT, 0.3), (DARK, 4.7)]),
        # 33 CFR 62.45: safe water shows Mo(A), preferred channels Fl(2+1). Their lengths: common practice, no source.
        ("Mo(A) 8s", [(LIT, 0.5), (DARK, 0.5), (LIT, 1.5), (DARK, 5.5)]),
        ("Fl(2+1) 15s", [(LIT, 0.6), (DARK, 1.2), (LIT, 0.6), (DARK, 3.6), (LIT, 0.6), (DARK, 8.4)]),
        ("Fl 4s", [(LIT, 0.4), (DARK, 3.6)]),
        ("Fl 2.5s", [(LIT, 0.3), (DARK, 2.2)]),
        ("FFl 10s", [(LIT, 1), (DARK, 9)]),
        ("F", [(LIT, 1)]),
    ],
)
def test_a_character_has_the_times_of_its_class(text: str, expected: list[tuple[bool, float]]) -> None:
    """Each example is lit and dark for as long as its table says, and where none says it, as is usual."""
    assert expected == seconds(text)


@pytest.mark.parametrize(
    "text", ["Iso 10s", "Oc 12s", "Oc(2) 13s", "Oc(2+1) 12s", "Fl(2+1) 15s", "VQ(6)+LFl 10s"]
)
def test_its_tape_changes_at_the_nanosecond(text: str) -> None:
    """Just before and just after each edge of its phases a lamp shows what it should, in the hundredth period too."""
    [score] = scores_of(f"{{character: {text}, in-step: true}}")
    for turn in (0, 99):
        at = turn * score.tape.period
        for phase in shown(text):
            for instant in (at, at + phase.time - 1):
                assert UNIT * phase.light // 100 == light(score, instant)
            at += phase.time


def test_colours_come_by_turns_with_al() -> None:
    """An alternating light shows one colour after the other, fixed or in flashes."""
    assert [Phase(5 * SECOND, 100, "white"), Phase(5 * SECOND, 100, "red")] == list(shown("Al WR 10s"))
    assert ["white", "", "red", ""] == [phase.hue for phase in shown("Al.Fl.WR 10s")]
    [score] = scores_of("{character: AlWR 10s, in-step: true}")
    assert ((0, "white"), (1, "red")) == score.hues


def test_colours_without_al_are_sectors() -> None:
    """A sector light has one lamp for each of its colours, all in one rhythm."""
    scores = scores_of("Fl(3)WRG.15s", 3)
    assert [((0, "white"),), ((0, "red"),), ((0, "green"),)] == [score.hues for score in scores]
    assert 1 == len({(score.tape, score.shift) for score in scores})


def test_lamps_of_one_colour_take_their_own_flashes() -> None:
    """Where two lamps are called by the two colours of a light, each shows its own colour alone."""
    effect = read("effect: Al.Fl.WR 10s", ("lens.white", "lens.red"))[0]
    assert effect is not None
    assert ("white", "red") == getattr(effect, "only", None)


def test_the_owner_may_say_how_long_a_flash_is() -> None:
    """`flash` and `eclipse` take the place of the usual times."""
    assert [Phase(200_000_000, 100), Phase(3_800_000_000, 0)] == list(
        phases(parse_character("Fl 4s"), flash=20)
    )
    found = read("effect: {character: Fl 4s, flash: 2.5 s}")
    assert 1 == len(found[1])
    assert found[1][0].startswith("1:24: 'Fl 4s' cannot be shown: its flashes do not fit into its period")
    assert found[1][0].endswith("or shorter times")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("▸X 10s", "a class"),
        ("Fl(▸) 10s", "a number of flashes"),
        ("Fl(2+▸) 10s", "a number of flashes"),
        ("Fl(2▸ 10s", "closing bracket"),
        ("Fl(▸1) 5s", "a single flash has no brackets"),
        ("Q(2▸+1) 9s", "quick flashes have one number"),
        ("Q(3)+▸Fl 10s", "a long flash is all that can follow"),
        ("Mo(▸) 8s", "a letter from A to Z"),
        ("Mo(ABCD▸E) 30s", "4 letters are the most"),
        ("Mo▸ 8s", "a bracket with letters"),
        ("Fl(▸9+9+9) 30s", "at most 20 flashes"),
        ("Al W▸ 5s", "two or more colours"),
        ("Al ▸Q WR 5s", "behind Al colours"),
        ("Fl WR▸W 5s", "another colour"),
        ("Fl ▸10", "a period in seconds"),
        ("Fl ▸100s", "a period in seconds"),
        ("Fl ▸61s", "at most 60 seconds"),
        ("Fl ▸0s", "more than 0"),
        ("Fl 10s ▸21m", "height and range"),
        ("Fl ▸quick", "the end"),
        ("F ▸10s", "a fixed light has no period"),
        ("Fl▸", "a period is missing"),
        ("Fl ▸1.2s", "50 flashes a minute or more are quick"),
        ("LFl ▸4s", "not be dark for longer"),
        ("Q ▸1.21s", "50 to 79 flashes a minute"),
        ("VQ ▸0.76s", "80 to 159"),
        ("UQ ▸0.38s", "160 to 300"),
        ("Q(9) ▸9s", "do not fit"),
        ("Q(6)+LFl ▸9s", "do not fit"),
        ("Fl(5) ▸3s", "do not fit"),
        ("Oc(3) ▸1s", "do not fit"),
        ("Mo(0000) ▸5s", "do not fit"),
        ("IQ ▸5s", "do not fit"),
        ("Iso ▸0.3s", "at least 0.4 s"),
    ],
)
def test_what_is_wrong_is_marked_at_its_place(text: str, expected: str) -> None:
    """Each illegal notation is refused at the letter where it goes wrong, with what was expected, quoted or not."""
    for before, after in (("effect: ", ""), ('effect: "', '"'), ("effect: {character: '", "'}")):
        written = f"{before}{text}{after}"
        effect, found = read(written.replace(HERE, ""), ("a", "b"))
        [place] = places(written)
        assert effect is None
        assert [place] == [each.split(": ", 1)[0] for each in found], written
        assert expected in found[0]


@given(notations())
def test_every_legal_notation_is_read(written: Written) -> None:
    """Whatever the grammar makes is read as what it is."""
    character = parse_character(written.text)
    assert written.rhythm == character.rhythm
    assert written.flashes == sum(character.group)
    assert written.colours == character.colours
    assert (written.period, written.letters) == (character.period, character.letters)
    assert (written.alternating, written.long) == (character.alternating, character.long)


@given(notations())
def test_every_legal_notation_obeys_its_class(written: Written) -> None:
    """Its light and its dark are as Chart No. 1, P 10.1 to P 10.11, has them for its class."""
    try:
        found = shown(written.text)
    except NotationError:
        # A group of many parts may want more room than the least that is tried here; that is told, not shown wrongly.
        assume(written.flashes == 1 or written.rhythm == "Mo")
        raise
    total = sum(phase.time for phase in found)
    if written.period is not None:
        assert written.period * HUNDREDTH == total
    assert all(phase.time > 0 for phase in found)
    lit = sum(phase.time for phase in found if phase.light == 100)
    flashes = [phase.time for phase in found if phase.light == 100]
    turns = len(written.colours) if written.alternating else 1
    match written.rhythm:
        case "F":
            assert total == lit
        case "Iso":
            assert 2 * lit == total
        case "Oc":
            assert 2 * lit > total
            assert written.flashes * turns == len(flashes)
        case "LFl":
            assert 2 * SECOND <= min(flashes)
            assert 2 * lit < total
        case "Fl" | "FFl":
            assert 2 * lit < total
            assert written.flashes * turns == len(flashes)
            assert 1 == len(set(flashes))
            assert written.flashes > 1 or 60 * SECOND * turns / total < 50
        case "Q" | "VQ" | "UQ" | "IQ" | "IVQ" | "IUQ":
            least, most = {"Q": (50, 80), "VQ": (80, 160), "UQ": (160, 301)}[written.rhythm.removeprefix("I")]
            pitch = found[0].time + found[1].time if len(found) > 2 else total
            assert least <= 60 * SECOND / pitch < most
            assert 2 * found[0].time < pitch
            assert 2 * lit < total
            assert not written.long or 2 * SECOND == flashes[-1]
        case _:
            dot = min(flashes)
            marks = "".join(MORSE[letter] for letter in written.letters)
            assert [dot * (3 if mark == "-" else 1) for mark in marks] == flashes or "." not in marks
            assert found[-1].time >= 7 * (dot if "." in marks else dot // 3)


@given(notations())
def test_the_tape_of_every_legal_notation_is_exact(written: Written) -> None:
    """A tape changes where its phases do: to the nanosecond, or to the nearest sample where it would be too long."""
    try:
        found = shown(written.text)
    except NotationError:
        assume(written.flashes == 1)
        raise
    lamps = len(written.colours) if len(written.colours) > 1 and not written.alternating else 1
    score = scores_of(f"{{character: '{written.text}', in-step: true}}", lamps)[0]
    unit = gcd(*(phase.time for phase in found))
    near = 0 if score.tape.period // unit <= LONGEST_TAPE else score.tape.period // LONGEST_TAPE
    at = 0
    for phase in found:
        first, last = at + near, at + phase.time - 1 - near
        assert first > last or UNIT * phase.light // 100 == light(score, first) == light(score, last)
        at += phase.time


LETTERS: Final = "FOIQVULMoclsA0123456789()+. WRGBuYx"


@given(notations(), st.data())
def test_every_change_of_a_notation_is_legal_or_refused_at_a_place(
    written: Written, data: st.DataObject
) -> None:
    """A letter more, less or other gives another character, or a refusal that points into the text."""
    text = written.text
    place = data.draw(st.integers(0, len(text)))
    letter = data.draw(st.sampled_from(LETTERS))
    how = data.draw(st.sampled_from(["more", "less", "other"]))
    rest = text[place:] if how == "more" else text[place + 1 :]
    changed = text[:place] + ("" if how == "less" else letter) + rest
    problem = refusal(changed)
    if problem is not None:
        assert 0 <= problem.column <= len(changed)
        assert repr(changed)[:20] in str(problem)
        return
    character = parse_character(changed)
    assert character.rhythm in RHYTHMS
    assert sum(phase.time for phase in phases(character)) > 0
    assert set(character.colours) <= set(COLOURS.values())


@given(st.text(max_size=30))
def test_any_text_is_a_character_or_is_refused(text: str) -> None:
    """No text whatever brings anything but a character or a refusal."""
    problem = refusal(text)
    assert problem is None or 0 <= problem.column <= len(text)


def refusal(text: str) -> NotationError | None:
    """Return why a text is no character that can be shown, or None if it is one."""
    try:
        shown(text)
    except NotationError as problem:
        return problem
    return None
