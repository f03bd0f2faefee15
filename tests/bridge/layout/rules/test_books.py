"""The sets of aspects that come with lamproom say what their sources say."""

from __future__ import annotations

import re
from itertools import combinations
from typing import Final

import pytest

from bridge.check import check_text
from bridge.layout.model import DARK
from bridge.layout.rules import RULE_SETS
from bridge.layout.rules.book import Evidence, Plate, RuleRow, RuleSet, read_form
from bridge.layout.units import name
from bridge.light.pictures import plan_devices

ALL: Final = pytest.mark.parametrize("rules", RULE_SETS.values(), ids=list(RULE_SETS))


def row(rules: str, aspect: str) -> RuleRow:
    """Return one row of a set."""
    return next(each for each in RULE_SETS[rules].rows if each.name == aspect)


def heads(rules: RuleSet) -> list[int]:
    """Return the numbers of heads that a set is for."""
    return sorted({len(form) for each in rules.rows for form in each.forms()})


# Letters as railroaders write them: G Y R L, f for flashing, heads from the top down.
LETTERS: Final = {"G": "green", "Y": "yellow", "R": "red", "L": "lunar"}


def written(short: str) -> str:
    """Return `Y/fG` in the words of a set."""
    return " / ".join(
        ("flashing " if head.startswith("f") else "") + LETTERS[head[-1]] for head in short.split("/")
    )


@pytest.mark.parametrize(
    ("rule", "aspect", "lights", "evidence"),
    [
        # Names of NORAC, 8th edition; lights of crew training notes where they are second-hand, and common practice,
        # no source, where they are from memory. 49 CFR 236.23(d) has red for stop, yellow or lunar for what may
        # require a stop, green for proceed.
        ("281", "clear", "G/R/R G/R G", Evidence.MEMORY),
        ("281a", "cab-speed", "fG/R/R fG/R", Evidence.SECOND_HAND),
        ("281b", "approach-limited", "Y/fG/R Y/fG", Evidence.SECOND_HAND),
        ("281c", "limited-clear", "R/fG/R R/fG fG", Evidence.SECOND_HAND),
        ("282", "approach-medium", "Y/G/R Y/G", Evidence.SECOND_HAND),
        ("282a", "advance-approach", "fY/R/R fY/R fY", Evidence.SECOND_HAND),
        ("283", "medium-clear", "R/G/R R/G", Evidence.SECOND_HAND),
        ("283a", "medium-approach-medium", "R/Y/G", Evidence.SECOND_HAND),
        ("284", "approach-slow", "Y/R/G Y/Y", Evidence.SECOND_HAND),
        ("285", "approach", "Y/R/R Y/R Y", Evidence.MEMORY),
        ("286", "medium-approach", "R/fY/R R/fY", Evidence.SECOND_HAND),
        ("287", "slow-clear", "R/R/G", Evidence.SECOND_HAND),
        ("288", "slow-approach", "R/R/fY", Evidence.SECOND_HAND),
        ("290", "restricting", "R/R/Y R/Y L", Evidence.MEMORY),
        ("291", "stop-and-proceed", "R/R/R R/R R", Evidence.SECOND_HAND),
        ("292", "stop", "R/R/R R/R R", Evidence.MEMORY),
    ],
)
def test_speed_signals(rule: str, aspect: str, lights: str, evidence: Evidence) -> None:
    """Each rule of speed signalling has its lights for three, two and one head, and says how well it is known."""
    found = row("speed-signals", aspect)
    assert tuple(written(each) for each in lights.split()) == found.lights
    assert evidence is found.evidence
    assert re.search(rf"rule {rule}\b", found.source)


def test_speed_signals_stand_in_the_order_of_their_rules() -> None:
    """From the last rule of the book to the first an aspect gets better."""
    numbers = [re.findall(r"rule (\d+[a-c]?)", each.source)[0] for each in RULE_SETS["speed-signals"].rows]
    assert sorted(numbers, reverse=True) == numbers


@pytest.mark.parametrize(
    ("aspect", "lights"),
    [
        # The dwarf column of the same rules: crew training notes; lunar by common practice, no source.
        ("approach-limited", "Y/fG"),
        ("limited-clear", "fG/R fG"),
        ("approach-medium", "Y/G"),
        ("medium-clear", "G/fR"),
        ("approach-slow", "Y/Y"),
        ("approach", "Y"),
        ("medium-approach", "Y/fR"),
        ("slow-clear", "G/R"),
        ("slow-approach", "Y/R fY"),
        ("restricting", "R/Y L"),
        ("clear", "G"),
    ],
)
def test_speed_dwarfs(aspect: str, lights: str) -> None:
    """A dwarf says the same with other lights than a high signal."""
    assert tuple(written(each) for each in lights.split()) == row("speed-dwarfs", aspect).lights


@pytest.mark.parametrize(
    ("aspect", "lights"),
    [
        # Names of crew study cards; lights common practice, no source.
        ("clear", "G/R/R G/R G"),
        ("approach-limited", "Y/fG/R Y/fG"),
        ("advance-approach", "fY/R/R fY/R fY"),
        ("approach-medium", "Y/G/R Y/G"),
        ("approach-diverging", "Y/Y/R Y/Y"),
        ("approach-restricting", "Y/L/R Y/L"),
        ("approach", "Y/R/R Y/R Y"),
        ("diverging-clear", "R/G/R R/G"),
        ("diverging-approach-diverging", "R/Y/Y"),
        ("diverging-approach-medium", "R/fY/R R/fY"),
        ("diverging-approach", "R/Y/R R/Y"),
        ("restricting", "R/R/L R/L L"),
        ("stop", "R/R/R R/R R"),
    ],
)
def test_route_signals(aspect: str, lights: str) -> None:
    """Each aspect of route signalling has its lights, and none is said to be more than remembered."""
    found = row("route-signals", aspect)
    assert tuple(written(each) for each in lights.split()) == found.lights
    assert Evidence.MEMORY is found.evidence


def test_same_lights_have_another_meaning_in_another_book() -> None:
    """Red over yellow is restricting in speed signalling and diverging approach in route signalling.

    Crew training notes and common practice; so a set never borrows a row of another.
    """
    meaning = {
        rules: [each.name for each in RULE_SETS[rules].rows if written("R/Y") in each.lights]
        for rules in ("speed-signals", "route-signals")
    }
    assert {"speed-signals": ["restricting"], "route-signals": ["diverging-approach"]} == meaning
    assert written("G/R") in row("speed-signals", "clear").lights
    assert written("G/R") in row("speed-dwarfs", "slow-clear").lights


@pytest.mark.parametrize("rules", ["plain", "speed-signals", "speed-dwarfs", "route-signals"])
def test_number_plate_is_all_that_tells_two_aspects_apart(rules: str) -> None:
    """Stop and stop-and-proceed light the same lamps; only the plate differs (rules 291 and 292)."""
    stop, proceed = row(rules, "stop"), row(rules, "stop-and-proceed")
    assert stop.lights == proceed.lights
    assert (Plate.WITHOUT, Plate.WITH) == (stop.plate, proceed.plate)


@pytest.mark.parametrize(
    ("rules", "aspect", "lights", "evidence"),
    [
        # Network Rail glossary, four-aspect signal; flashing yellows as quoted in a forum.
        ("gb-four-aspect", "danger", "red", Evidence.SEEN),
        ("gb-four-aspect", "caution", "yellow", Evidence.SEEN),
        ("gb-four-aspect", "preliminary-caution", "upper-yellow + yellow", Evidence.SEEN),
        ("gb-four-aspect", "clear", "green", Evidence.SEEN),
        (
            "gb-four-aspect",
            "flashing-double-yellow",
            "flashing upper-yellow + flashing yellow",
            Evidence.SECOND_HAND,
        ),
        ("gb-four-aspect", "flashing-single-yellow", "flashing yellow", Evidence.SECOND_HAND),
        ("gb-three-aspect", "danger", "red", Evidence.SEEN),
        ("gb-three-aspect", "caution", "yellow", Evidence.SEEN),
        ("gb-three-aspect", "clear", "green", Evidence.SEEN),
        # Common practice, no source.
        (
            "junction-indicator",
            "diverging",
            "first-white + second-white + third-white + fourth-white + fifth-white",
            Evidence.MEMORY,
        ),
        ("position-light-shunt", "stop", "left-red + right-red", Evidence.MEMORY),
        ("position-light-shunt", "proceed-at-caution", "left-white + upper-white", Evidence.MEMORY),
        # Ril 301 and ESO 1959 part I (10); Hp 2 by study cards, Zs 1 by an encyclopaedia.
        ("hp-signals", "Hp 0", "red", Evidence.SEEN),
        ("hp-signals", "Hp 1", "green", Evidence.MEMORY),
        ("hp-signals", "Hp 2", "green + yellow", Evidence.SECOND_HAND),
        ("hp-signals", "Hp 0 Sh 1", "red + lower-white + upper-white", Evidence.SEEN),
        ("hp-signals", "Hp 0 Zs 1", "red + flashing substitute-white", Evidence.SECOND_HAND),
        ("hp-exit-signals", "Hp 0", "left-red + right-red", Evidence.SEEN),
        ("hp-exit-signals", "Hp 0 Sh 1", "left-red + lower-white + upper-white", Evidence.SEEN),
        # ESO 1959 part II (18); the colours by study cards.
        ("vr-signals", "Vr 0", "yellow / yellow", Evidence.SECOND_HAND),
        ("vr-signals", "Vr 1", "green / green", Evidence.SECOND_HAND),
        ("vr-signals", "Vr 2", "green / yellow", Evidence.SECOND_HAND),
        # Ril 301.0102.
        ("ks-signals", "Hp 0", "red", Evidence.SEEN),
        ("ks-signals", "Ks 1", "green", Evidence.SEEN),
        ("ks-signals", "Ks 1 Zs 3v", "flashing green", Evidence.SEEN),
        ("ks-signals", "Ks 2", "yellow", Evidence.SEEN),
        ("ks-signals", "Ks 2 shortened", "yellow + top-white", Evidence.SEEN),
        ("ks-signals", "Ks 2 repeater", "yellow + bottom-white", Evidence.SEEN),
        ("ks-signals", "Ks 1 Zs 3v shortened", "flashing green + top-white", Evidence.SEEN),
        ("ks-signals", "Ks 1 Zs 3v repeater", "flashing green + bottom-white", Evidence.SEEN),
    ],
)
def test_european_signals(rules: str, aspect: str, lights: str, evidence: Evidence) -> None:
    """Each aspect of the British and German sets has its lamps, and says how well it is known."""
    found = row(rules, aspect)
    assert lights == found.lights[0]
    assert evidence is found.evidence


@pytest.mark.parametrize(
    ("rules", "sequence"),
    [
        # Three aspects follow from 49 CFR 236.205 and 236.24; four by the Network Rail glossary.
        ("plain", "stop approach clear"),
        ("speed-signals", "stop approach clear"),
        ("route-signals", "stop approach clear"),
        ("gb-three-aspect", "danger caution clear"),
        ("gb-four-aspect", "danger caution preliminary-caution clear"),
    ],
)
def test_sequence_of_an_automatic_block(rules: str, sequence: str) -> None:
    """With no, one, two and more clear sections ahead a block signal shows these."""
    assert tuple(sequence.split()) == RULE_SETS[rules].sequence


@ALL
def test_every_row_names_its_source(rules: RuleSet) -> None:
    """No row is without a source, and none is remembered without saying so."""
    for each in rules.rows:
        assert each.source
        if each.evidence is Evidence.MEMORY:
            assert "common practice" in each.source, each.name


@ALL
def test_every_name_can_stand_in_a_layout_file(rules: RuleSet) -> None:
    """Aspects have different names, and each is one that an owner may write."""
    names = [each.name for each in rules.rows]
    assert len(names) == len(set(names))
    assert names == [name(each) for each in names]


@ALL
def test_no_two_aspects_look_alike(rules: RuleSet) -> None:
    """Two aspects of one set never show the same on as many heads, unless a number plate tells them apart."""
    for one, other in combinations(rules.rows, 2):
        if {Plate.WITH, Plate.WITHOUT} != {one.plate, other.plate}:
            assert not set(one.forms()) & set(other.forms()), (one.name, other.name)


@ALL
def test_most_restrictive_aspect_and_sequence_have_every_form(rules: RuleSet) -> None:
    """Whatever heads a set is for, it has its most restrictive aspect for them, and its sequence in order."""
    first, *_rest = [each for each in rules.rows if each.plate is not Plate.WITH]
    assert heads(rules) == sorted(len(form) for form in first.forms())
    places = [[each.name for each in rules.rows].index(aspect) for aspect in rules.sequence]
    assert sorted(set(places)) == places
    for aspect in rules.sequence:
        assert heads(rules) == sorted(len(form) for form in row(rules.name, aspect).forms())


def layout_of(rules: RuleSet, count: int, *, plate: bool) -> str:
    """Return a layout with one signal of so many heads that has every lamp, and that is ordered every aspect."""
    rows = [each for each in rules.rows if each.plate is not (Plate.WITHOUT if plate else Plate.WITH)]
    forms = {each.name: form for each in rows if (form := each.form(count)) is not None}
    lamps: list[list[str]] = [
        sorted({each.word for form in forms.values() for each in form[place]}) for place in range(count)
    ]
    built = [
        "{" + ", ".join(f"{lamp}: {{chip: {1 + place + i}, channel: 1}}" for i, lamp in enumerate(each)) + "}"
        for place, each in zip([sum(map(len, lamps[:i])) for i in range(count)], lamps, strict=True)
    ]
    kind = f"lamps: {built[0]}"
    if count > 1:
        kind = "heads: {" + ", ".join(f"h{place}: {each}" for place, each in enumerate(built)) + "}"
    chips = ", ".join(["ws2811"] * sum(map(len, lamps)))
    numbers = "".join(f"      {number}: {{reverse: {each}}}\n" for number, each in enumerate(forms, start=1))
    return (
        f"layout: One\nbuilds:\n  mast: {{chips: [{chips}], {kind}}}\n"
        "nodes:\n  bench: {chains: [{name: one, fixtures: [{name: S1, build: mast}]}]}\n"
        f"signals:\n  S1:\n    aspects: {rules.name}\n    plate: {str(plate).lower()}\n    commands:\n{numbers}"
    )


CASES: Final = [
    pytest.param(rules, count, plate, id=f"{rules.name} {count} {'plate' if plate else ''}".strip())
    for rules in RULE_SETS.values()
    for count in heads(rules)
    for plate in (False, True)
    if not plate or any(each.plate is Plate.WITH for each in rules.rows)
]


@pytest.mark.parametrize(("rules", "count", "plate"), CASES)
def test_every_set_runs_and_lights_what_it_says(rules: RuleSet, count: int, plate: bool) -> None:
    """On a mast with every lamp each aspect of a set passes the check without a word, and lights its lamps alone."""
    checked = check_text(layout_of(rules, count, plate=plate))
    assert checked.layout is not None, [each.line("f") for each in checked.findings]
    assert () == checked.findings
    [plan], _findings = plan_devices(checked.layout)
    [signal] = checked.layout.signals
    lamps = [
        (place, lamp.name)
        for place, head in enumerate(checked.layout.fixture("S1").heads)
        for lamp in head.lamps
    ]
    for each in signal.aspects:
        form = row(rules.name, each.name).form(count)
        assert form is not None
        lit = {(place, word.word): word.flashing for place, head in enumerate(form) for word in head}
        look = plan.looks[each.name]
        assert [lamp in lit for lamp in lamps] == [level > 0 for level in look.lit]
        assert [not lit.get(lamp, True) for lamp in lamps] == [level > 0 for level in look.unlit]
    assert {each.name for each in signal.aspects} | {DARK} == set(plan.looks)
    assert signal.sequence[1:] == rules.sequence[1:]


def test_form_is_read_word_by_word() -> None:
    """Heads stand from the top down, lamps of one head together, and a dark head has none."""
    red, white, green = ("red", False, False), ("white", True, False), ("green", False, True)
    assert ((red, white), (), (green,)) == read_form("red + flashing white / dark / alternating green")
