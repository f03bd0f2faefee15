"""The lamp test of a new part lights each of its lamps alone, and nothing of it else."""

from __future__ import annotations

from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.check import check_text
from bridge.layout.model import LampKind
from bridge.light.pictures import plan_devices
from bridge.service.building import at_rest
from bridge.trial.areas import Areas, inverted
from bridge.trial.building import Step, steps
from tests.support.as_built import YARD
from tests.support.driving import layout as layout_of

KINDS = st.sampled_from(["mast", "pixel", "pair", "house", "dwarf"])


def looks_of(text: str, chain: str, *new: str) -> tuple[Step, ...]:
    layout = check_text(text).planned
    assert layout is not None
    return steps(next(each for each in layout.chains if each.key == chain), new, at_rest(layout)[chain])


def test_each_lamp_of_the_new_part_is_lit_alone() -> None:
    """First all that is new is dark; then its lamps come one after the other, each with its question."""
    first, green, red, yellow = looks_of(YARD, "tarn/yard", "P")
    rest = bytes.fromhex("00ff00 000000 00ff00 00ff00 00000000 000000 00ff00 00ff00")
    assert rest == first.picture
    assert first.question.startswith("Everything new is dark now.")
    assert [
        ("ff0000", "Is the lamp green of P lit, and nothing else that is new?"),
        ("00ff00", "Is the lamp red of P lit, and nothing else that is new?"),
        ("0000ff", "Is the lamp yellow of P lit, and nothing else that is new?"),
    ] == [(step.picture[3:6].hex(), step.question) for step in (green, red, yellow)]
    assert {2} == {step.position for step in (green, red, yellow)}


def test_every_die_of_a_pixel_is_asked_for() -> None:
    """An order of bytes that is wrong shows as a colour that is not the one that is named."""
    text = YARD.replace("- {name: F, build: mast}", "- {name: F, build: pixel}").replace(
        "{name: line, planned: true, fixtures: [{name: F, build: mast}]}",
        "{name: line, planned: true, fixtures: [{name: F, build: pixel}]}",
    )
    _first, *dies = looks_of(text, "hill/line", "F")
    said = {step.picture.hex(): step.question for step in dies}
    # The early WS2812B takes green, red, blue (Worldsemi, "composition of 24 bit data").
    assert {"ff0000": "green", "00ff00": "red", "0000ff": "blue"} == {
        levels: question.removeprefix("Is the lamp eye of F lit in ").split(",")[0]
        for levels, question in said.items()
    }


def test_where_all_is_new_nothing_old_is_asked_about() -> None:
    """A chain that is planned as a whole has nothing that was there before."""
    assert "Nothing is lit on purpose now. Is all of it dark?" == looks_of(YARD, "hill/line", "F")[0].question


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(KINDS, st.booleans()), min_size=1, max_size=6))
def test_any_new_part_is_tried_lamp_by_lamp(wanted: list[tuple[str, bool]]) -> None:
    """The old part never changes, every lamp of the new part is lit once, and never two of them together."""
    data: dict[str, Any] = {**yaml.safe_load(YARD), "signals": {}, "lights": {}}
    fixtures = [
        {"name": f"F{n}", "build": build, "planned": planned} for n, (build, planned) in enumerate(wanted)
    ]
    data["nodes"] = {"n": {"chains": [{"name": "c", "fixtures": fixtures}]}}
    text = yaml.safe_dump(data, sort_keys=False)
    new = [f"F{n}" for n, (_build, planned) in enumerate(wanted) if planned]
    layout = check_text(text).planned or layout_of(text)
    [chain] = layout.chains
    rest = at_rest(layout)["n/c"]
    first, *others = steps(chain, new, rest)
    owner = {
        wire.offset: (
            fixture.name,
            head.name,
            lamp.name,
            wire.die if lamp.kind is LampKind.FULL_COLOUR else "",
        )
        for fixture in chain.fixtures
        for head in fixture.heads
        for lamp in head.lamps
        for wire in lamp.wires
    }
    lit = []
    for step in others:
        differ = {
            owner[place] for place in range(chain.length) if step.picture[place] != first.picture[place]
        }
        [lamp] = differ
        lit.append(lamp)
        assert step.fixture == lamp[0]
    assert [lamp for lamp in dict.fromkeys(owner.values()) if lamp[0] in new] == lit
    old = [place for place in range(chain.length) if owner.get(place, ("",))[0] not in new]
    assert all(first.picture[place] == rest[place] for place in old)


def test_the_lamp_test_knows_only_what_is_on_a_data_line() -> None:
    """What is planned or bypassed cannot be tried, and says so; what is left of a fixture can."""
    layout = layout_of(YARD)
    areas = Areas(layout, plan_devices(layout)[0])
    for word in ("P", "F", "upper"):
        with pytest.raises(ValueError, match=f"{word} has no lamp that could be tried"):
            areas.find(word)
    [part] = areas.find("C").parts
    assert [(3, 6), (3, 7)] == [(channel.position, channel.offset) for channel in part.channels]
    [whole] = areas.find("all").parts
    assert ("tarn/yard", 22) == (whole.key, len(whole.channels))
    assert frozenset() == inverted(layout.chains[0])
