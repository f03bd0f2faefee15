"""Edits change the lines that they are about, and no other: remarks, order, quotes and blanks stay as they were."""

from __future__ import annotations

from difflib import SequenceMatcher
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import LayoutError
from bridge.layout import read_layout
from bridge.layout.edit import (
    AtChain,
    AtFixture,
    AtLamp,
    Edit,
    InsertFixture,
    MoveFixture,
    RemoveFixture,
    RemoveKey,
    SetKey,
    SetOrder,
    SetTypeOrder,
    SortChain,
    apply,
    differences,
)
from bridge.layout.source_text import written
from bridge.layout.text import parse

HEAD: Final = """\
# how it is wired
layout:   Fernhollow   # with room around it
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  pair: {chips: [ws2811, ws2811], lamps: {red: {channel: 1}, green: {chip: 2, channel: 2}}}
  post:
    chips:
      - ws2811
    heads:
      upper:
        red: {channel: 1}   # soldered first
        green:
          channel: 2

nodes:
  'tarn':      # under the station
    chains:
"""
FIXTURES: Final = ("A1", "B 2", "C-3", "D4", "E5")


def _file(first: str, second: str, end: str = "\n") -> str:
    chains = f"      - name: yard\n{first}      - {{name: line, fixtures: [{second}]}}  # all of it\n"
    return f"{HEAD}{chains}".removesuffix("\n") + end


PLAIN: Final = _file(
    """\
        fixtures:   # from the node outwards
          - {name: A1, build: mast}
          # the tall one
          - name: B 2   # repainted
            build: pair

            order: GRB

          - {build: 'mast',  name: "C-3" }
""",
    "{name: D4, build: mast},{name: E5, build: pair}",
)


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Return the lines that are no longer there, and those that are new."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    gone, come = list[str](), list[str]()
    for what, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if what != "equal":
            gone, come = gone + old[a:b], come + new[c:d]
    return gone, come


@pytest.mark.parametrize(
    ("edit", "gone", "come"),
    [
        (
            SetKey(AtFixture("A1"), "planned", value=True),
            ["          - {name: A1, build: mast}\n"],
            ["          - {name: A1, build: mast, planned: true}\n"],
        ),
        (SetKey(AtFixture("B 2"), "planned", value=True), [], ["            planned: true\n"]),
        (
            SetKey(AtFixture("B 2"), "order", "RGB"),
            ["            order: GRB\n"],
            ["            order: RGB\n"],
        ),
        (RemoveKey(AtFixture("B 2"), "order"), ["            order: GRB\n"], []),
        (
            SetOrder("B 2", 2, "BRG"),
            ["            order: GRB\n"],
            ["            order: [GRB, BRG]\n"],
        ),
        (
            SetKey(AtFixture("C-3"), "bypassed", (1,)),
            ["          - {build: 'mast',  name: \"C-3\" }\n"],
            ["          - {build: 'mast',  name: \"C-3\", bypassed: [1] }\n"],
        ),
        (SetKey(AtChain("tarn", "yard"), "planned", value=True), [], ["        planned: true\n"]),
        (
            SetKey(AtChain("tarn", "line"), "planned", value=True),
            [
                "      - {name: line, fixtures: [{name: D4, build: mast},{name: E5, build: pair}]}  # all of it\n"
            ],
            [
                (
                    "      - {name: line, planned: true, fixtures: "
                    "[{name: D4, build: mast},{name: E5, build: pair}]}  # all of it\n"
                )
            ],
        ),
        (
            SetTypeOrder("tarn", "yard", "ws2812b", "RGB"),
            [],
            ["        order: {ws2812b: RGB}\n"],
        ),
        (
            SetKey(AtLamp("mast", "", "eye"), "trim", "40%"),
            ["  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}\n"],
            ["  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1, trim: 40%}}}\n"],
        ),
        (SetKey(AtLamp("post", "upper", "green"), "leds", 2), [], ["          leds: 2\n"]),
        (
            SetKey(AtLamp("post", "upper", "red"), "channel", 3),
            ["        red: {channel: 1}   # soldered first\n"],
            ["        red: {channel: 3}   # soldered first\n"],
        ),
        (
            MoveFixture("B 2", "A1", before=True),
            ["          - {name: A1, build: mast}\n"],
            ["          - {name: A1, build: mast}\n"],
        ),
        (
            InsertFixture((("name", "on"), ("build", "mast")), "A1"),
            [],
            ["          - {name: on, build: mast}\n"],
        ),
        (
            InsertFixture((("name", "N1"), ("build", "mast")), "B 2", before=True),
            [],
            ["          - name: N1\n", "            build: mast\n"],
        ),
        (RemoveFixture("A1"), ["          - {name: A1, build: mast}\n"], []),
        (
            SortChain("tarn", "line", ("E5", "D4")),
            [
                "      - {name: line, fixtures: [{name: D4, build: mast},{name: E5, build: pair}]}  # all of it\n"
            ],
            [
                "      - {name: line, fixtures: [{name: E5, build: pair},{name: D4, build: mast}]}  # all of it\n"
            ],
        ),
        (
            MoveFixture("A1", "D4"),
            [
                "          - {name: A1, build: mast}\n",
                "      - {name: line, fixtures: [{name: D4, build: mast},{name: E5, build: pair}]}  # all of it\n",
            ],
            [
                (
                    "      - {name: line, fixtures: [{name: D4, build: mast}, {name: A1, build: mast},"
                    "{name: E5, build: pair}]}  # all of it\n"
                )
            ],
        ),
        (
            MoveFixture("E5", "A1"),
            [
                "      - {name: line, fixtures: [{name: D4, build: mast},{name: E5, build: pair}]}  # all of it\n"
            ],
            [
                "          - {name: E5, build: pair}\n",
                "      - {name: line, fixtures: [{name: D4, build: mast}]}  # all of it\n",
            ],
        ),
    ],
    ids=str,
)
def test_an_edit_touches_its_own_lines(edit: Edit, gone: list[str], come: list[str]) -> None:
    """What is no longer there and what is new are the lines of the edit; whatever their style, and the remarks stay."""
    assert (gone, come) == changed_lines(PLAIN, apply(PLAIN, [edit]))


def test_a_remark_right_above_a_fixture_goes_with_it() -> None:
    """Moved to the end, the fixture takes the line about it along."""
    text = apply(PLAIN, [MoveFixture("B 2", "C-3")])
    assert text.index("# the tall one") > text.index("C-3")
    assert text.index("name: B 2") > text.index("# the tall one")


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (
            SetKey(AtFixture("X"), "planned", value=True),
            "no fixture is called 'X'; use one of: A1, B 2, C-3, D4, E5",
        ),
        (
            RemoveKey(AtFixture("A1"), "planned"),
            "there is no key 'planned' to take away; use one of: name, build",
        ),
        (
            SetKey(AtChain("tarn", "yrd"), "planned", value=True),
            "no chain is called 'tarn/yrd'; use one of: tarn/yard,",
        ),
        (
            SetKey(AtLamp("mast", "", "ear"), "mcd", 5),
            "there is no 'ear' in builds.mast.lamps.ear; there is only eye",
        ),
        (SetOrder("A1", 2, "GRB"), "A1 has no chip 2: its build has 1"),
        (
            SetOrder("A1", 1, "GGB"),
            "the change would make an error: line 20: 'GGB' does not name each channel",
        ),
        (
            SetKey(AtFixture("A1"), "build", "most"),
            "the change would make an error: line 20: no build is called 'most'",
        ),
        (MoveFixture("A1", "A1"), "A1 cannot stand beside itself"),
        (SortChain("tarn", "line", ("D4",)), "tarn/line has the fixtures D4, E5: name each of them once"),
    ],
    ids=str,
)
def test_what_does_not_fit_is_refused(edit: Edit, message: str) -> None:
    """An edit of something that is not there, or one that would make an error, changes nothing and says why."""
    with pytest.raises(LayoutError) as caught:
        apply(PLAIN, [edit])
    assert str(caught.value).startswith(message)


def test_the_last_fixture_of_a_chain_stays() -> None:
    """A chain without fixtures would be an error, so its last one cannot be taken out or moved away."""
    text = apply(PLAIN, [RemoveFixture("E5")])
    for edit in (RemoveFixture("D4"), MoveFixture("D4", "A1")):
        with pytest.raises(LayoutError, match="it is the only fixture of tarn/line"):
            apply(text, [edit])


def test_what_an_alias_repeats_is_left_to_its_owner() -> None:
    """A change there would change two things at once."""
    text = PLAIN.replace("{name: D4, build: mast}", "{name: D4, build: pair, order: &o [GRB, RGB]}").replace(
        "{name: E5, build: pair}", "{name: E5, build: pair, order: *o}"
    )
    assert read_layout(text)[0] is not None
    with pytest.raises(LayoutError, match="cannot be changed line by line"):
        apply(text, [SetKey(AtFixture("D4"), "order", "RGB")])


def test_differences_are_a_unified_diff() -> None:
    """What is shown before a change is written has the lines that go, those that come, and two around."""
    after = apply(PLAIN, [SetKey(AtFixture("A1"), "planned", value=True)])
    told = differences(PLAIN, after, "f.yaml")
    assert ["--- f.yaml", "+++ f.yaml (changed)"] == told[:2]
    assert ["-          - {name: A1, build: mast}"] == [line for line in told[2:] if line.startswith("-")]
    assert ["+          - {name: A1, build: mast, planned: true}"] == [
        line for line in told[2:] if line[0] == "+"
    ]


@given(st.text(max_size=12) | st.integers(-99, 99) | st.booleans() | st.none())
def test_a_value_is_read_again_as_what_it_is(value: str | int | bool | None) -> None:
    """Words that look like numbers, like true and false or like brackets come back as words."""
    document = parse(f"[{written(value)}]")
    if not document.findings:  # a letter that no layout file may hold is refused when the text is read again
        assert [value] == document.data


# ---- any text --------------------------------------------------------------------------------------------------

REMARKS: Final = st.sampled_from(["", "  # soldered: yes", " #{", "   "])
ABOVE: Final = st.sampled_from(["", "# on its own line\n", "#   two\n# lines: of it\n"])
KEYS: Final = ("planned", "bypassed", "order")


@st.composite
def fixtures(draw: st.DrawFn, name: str, *, block: bool) -> str:
    """Return the entry of a fixture in some style, below a dash in column 10 or between brackets."""
    quoted = draw(st.sampled_from([name, f"'{name}'", f'"{name}"']))
    if draw(st.booleans()) and block:
        keys = [f"name: {quoted}", draw(st.sampled_from(["build: mast", 'build: "mast"']))]
        if draw(st.booleans()):
            keys.append(draw(st.sampled_from(["order: RGB", "order:\n              - RGB"])))
        lines = [f"{key}{draw(REMARKS)}" for key in draw(st.permutations(keys))]
        return "\n            ".join(lines)
    order = draw(st.sampled_from(["", ", order: 'RGB'", ",   order: [RGB ]"]))
    room = draw(st.sampled_from(["", " "]))
    many = draw(st.booleans()) and block
    if many:
        return f"{{name: {quoted},{draw(REMARKS)}\n             build: mast{order}{room}}}{draw(REMARKS)}"
    return f"{{{room}name: {quoted}, build: mast{order}{room}}}" + (draw(REMARKS) if block else "")


@st.composite
def files(draw: st.DrawFn) -> str:
    """Return a layout file in any style."""
    cut = draw(st.integers(2, 3))
    first = "".join(
        "".join(f"          {line}\n" for line in draw(ABOVE).splitlines())
        + f"          - {draw(fixtures(name, block=True))}\n"
        for name in FIXTURES[:cut]
    )
    second = draw(st.sampled_from([", ", ",", " ,  "])).join(
        draw(fixtures(name, block=False)) for name in FIXTURES[cut:]
    )
    text = _file(
        f"        fixtures:{draw(REMARKS)}\n{first}", second, draw(st.sampled_from(["", "\n", "\n\n# end\n"]))
    )
    return text.replace("\n", draw(st.sampled_from(["\n", "\r\n"])))


@settings(deadline=None)
@given(files(), st.sampled_from(FIXTURES))
def test_a_key_that_is_set_and_taken_away_again_leaves_no_trace(text: str, name: str) -> None:
    """A file in any style is the same again to the last character, and one line differed meanwhile, or came."""
    assert read_layout(text)[0] is not None
    marked = apply(text, [SetKey(AtFixture(name), "planned", value=True)])
    gone, come = changed_lines(text, marked)
    assert len(gone) <= 2  # two where the last line of a file has no end
    assert len(come) <= 2
    assert "planned: true" in "".join(come)
    assert text == apply(marked, [RemoveKey(AtFixture(name), "planned")])


@settings(deadline=None)
@given(files(), st.sampled_from(FIXTURES), st.booleans())
def test_a_fixture_that_is_put_in_and_taken_out_again_leaves_no_trace(
    text: str, beside: str, before: bool
) -> None:
    """A file in any style is the same again to the last character."""
    more = apply(text, [InsertFixture((("name", "N9"), ("build", "mast")), beside, before=before)])
    layout, _findings = read_layout(more)
    assert layout is not None
    names = list(layout.fixtures())
    assert names.index("N9") - names.index(beside) == (-1 if before else 1)
    assert text == apply(more, [RemoveFixture("N9")])


@settings(deadline=None)
@given(files(), st.permutations(FIXTURES[:2]), st.booleans())
def test_a_fixture_that_is_moved_and_moved_back_leaves_no_trace(
    text: str, pair: list[str], before: bool
) -> None:
    """Lines go from one place to the other as they are; moved back, the file is the same to the last character."""
    name, beside = pair
    moved = apply(text, [MoveFixture(name, beside, before=before)])
    assert sorted(text.splitlines()) == sorted(moved.splitlines())
    before_it = pair.index(min(pair)) == 0  # whether it stood before the other
    assert text == apply(moved, [MoveFixture(name, beside, before=before_it)])


@settings(deadline=None)
@given(files(), st.randoms(use_true_random=False))
def test_a_chain_that_is_sorted_anyhow_and_back_leaves_no_trace(text: str, chance: object) -> None:
    """Every order of the fixtures of a chain leads back to the first one."""
    layout, _findings = read_layout(text)
    assert layout is not None
    for chain in layout.chains:
        names = [fixture.name for fixture in chain.fixtures]
        other = list(names)
        chance.shuffle(other)  # type: ignore[attr-defined]
        text_then = apply(text, [SortChain(chain.node, chain.name, tuple(other))])
        assert sorted("".join(text.split())) == sorted("".join(text_then.split()))
        assert text == apply(text_then, [SortChain(chain.node, chain.name, tuple(names))])


@settings(deadline=None)
@given(files(), st.sampled_from(FIXTURES), st.sampled_from(["GRB", "BRG"]))
def test_an_order_goes_into_its_line_whatever_stood_there(text: str, name: str, order: str) -> None:
    """The order that is written is the one that is read, and all other fixtures are as they were."""
    changed = apply(text, [SetOrder(name, 1, order)])
    was, now = read_layout(text)[0], read_layout(changed)[0]
    assert was is not None
    assert now is not None
    for fixture in was.fixtures().values():
        same = now.fixture(fixture.name).heads
        assert (fixture.name == name) or fixture.heads == same
    [head] = now.fixture(name).heads
    letters = {wire.offset % 3: wire.die for wire in head.lamps[0].wires}
    assert order == "".join(letters[place] for place in range(3))
