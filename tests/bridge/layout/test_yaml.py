"""A layout file that is no YAML, or too much of it, gives one message, and nothing breaks."""

from __future__ import annotations

import pytest

from bridge.layout.text import parse
from tests.support.layouts import SOUND, changed, said_of

TAB = "a tab stands here: YAML is indented with spaces alone"
QUOTE = "the quote that opens here"
CANNOT = "cannot be in a layout file: delete it, and save the file as UTF-8"


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n", "---\n", "\ufeff"])
def test_an_empty_file_says_how_to_begin(text: str) -> None:
    """A file with nothing in it is told how a layout file begins."""
    assert ["the file is empty: begin with `layout:` and a name"] == [
        line.split(": error: ")[1] for line in said_of(text)
    ]


@pytest.mark.parametrize("text", ["5", "hello", "- a\n- b\n", '"layout"', "true"])
def test_a_file_that_is_no_mapping_says_how_to_begin(text: str) -> None:
    """A list, a word or a number is no layout."""
    assert ["f:1:1: error: a layout file is a mapping: begin with `layout:` and a name"] == said_of(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a: [1, 2", "1:9: error: a comma, or the ] for the [ in column 4, is missing before this"),
        ("a: {b: 1 c: 2}\n", "1:11: error: a comma, or the } for the { in column 4, is missing before this"),
        ("a:\n  b: {c: {d: 1}\n  e: {f: 1}\n", "2:6: error: the { that opens here is never closed: put a }"),
        (
            "a:\n  b: [c, d\n  e: 1\n",
            "2:6: error: the [ that opens here is never closed: put a ] where it ends",
        ),
        ("a: {b: 1}}\nc: 1\n", "1:10: error: this } closes nothing: delete it, or open it before"),
        ('a: "b\nc:\n  d: 1\n', f"1:4: error: {QUOTE} is never closed: put one where the text ends"),
        (
            'a: "b\nc:\n  d: "e"\n',
            '1:4: error: a quote (") is missing in this line, or there is one too many',
        ),
        ('a: "b" c\n', "1:8: error: nothing can follow the quote that closes before this: delete it"),
        ("a: b: c\n", "1:5: error: this is the second colon of one line: put the text in quotes, or "),
        ("a:\n  H2\n    b: 1\n", "2:3: error: a colon is missing behind 'H2', here or in the line above"),
        ("a:\n  b:\n    c: 1\n  H2\n  d:\n", "4:3: error: a colon is missing behind 'H2', here or in"),
        ("a: 1\n\nsignals # all\n  b: 1\n", "3:1: error: a colon is missing behind 'signals', here or "),
        ("a:\n  b:1\n  c: 2\n", "2:3: error: a space is missing behind the colon of 'b'"),
        ("a:\n  - {b: 1}\n  {b: 2}\n", "3:3: error: a dash or a name with its colon is missing before this"),
        ("a:\n  b: 1\n    c: 2\n", "3:5: error: this line is indented too far for the one above (line 2): "),
        ("a:\n    b: 1\n  c: 2\n", "3:3: error: the indent of this line fits none of the lines above it: "),
        ("a:\n  b: 1\n  - c\n", "3:3: error: an entry of a list stands among keys: indent it below the key"),
        (
            "a:\n  - b\n  c: 2\n",
            "3:3: error: a dash is missing before this, or the indent is wrong: the list ",
        ),
        ("a: %5\n", "1:4: error: a value cannot begin with '%': put it in quotes"),
        ('a: "\\q"\n', "1:4: error: a \\ has a meaning in double quotes: use single quotes here"),
        ("a: *nobody\n", "1:4: error: a value that begins with * stands for another, and there is none: "),
        ("a: 1\n---\nb: 2\n", "2:1: error: a line of --- begins another file: a layout is one, so delete it"),
        ("a:\n  b: 1\n\tc: 2\n", f"3:1: error: {TAB}"),
        ("nodes:\n\ttarn:\n", f"2:1: error: {TAB}"),
        ("a: b\nläyout: x\0y\n", f"2:10: error: the character U+0000 {CANNOT}"),
        ("a: \x1b[31m\n", f"1:4: error: the character U+001B {CANNOT}"),
        ("a: b\u2028c: d\n", f"1:5: error: the character U+2028 {CANNOT}"),
        ("a: \ud800\n", f"1:4: error: the character U+D800 {CANNOT}"),
    ],
)
def test_what_is_no_yaml_is_one_message_at_its_place(text: str, said: str) -> None:
    """The place is where the slip is, not where reading stopped, and the message says what to write."""
    [line] = said_of(text)
    assert line.startswith(f"f:{said}")


def test_aliases_of_aliases_do_not_fill_the_memory() -> None:
    """A file that unfolds to billions of values is given up early."""
    text = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 12)
    )
    [line] = said_of(text)
    assert line.endswith("here the file has more than 250000 values: are there aliases of aliases?")


def test_an_alias_of_itself_is_told() -> None:
    """A list that holds itself has no end, and is told at the place where it begins."""
    assert ["f:1:4: error: this is nested too deeply for a layout"] == said_of("a: &a [*a]\n")


def test_an_alias_is_read_as_what_it_stands_for() -> None:
    """An anchor and its alias are plain YAML: a lamp may be written once."""
    assert [] == said_of(changed("{red: {channel: 1}}}", "{red: &lamp {channel: 1}}}"))
    assert {"a": {"b": 1}, "c": {"b": 1}} == parse("a: &a {b: 1}\nc: *a\n").data


@pytest.mark.parametrize(
    "text", ["[" * 500 + "]" * 500, "a: " + "{a: " * 40 + "1" + "}" * 40, "- " * 500 + "x"]
)
def test_deep_nesting_is_told(text: str) -> None:
    """Nesting that no layout needs is refused at the place where it becomes too much."""
    [line] = said_of(text)
    assert line.endswith("this is nested too deeply for a layout")


@pytest.mark.parametrize("text", ["[" * 200_000, "- " * 200_000, "{a: " * 200_000])
def test_nesting_without_end_is_told(text: str) -> None:
    """Nesting far beyond that does not bring the reader down either."""
    [line] = said_of(text)
    assert "exceeded maximum nesting depth" in line


@pytest.mark.parametrize(
    "change",
    [
        ("order: RGB}", "order: {}}}"),
        ("shows: 60%", "shows: {}"),
        ("{name: T2,", "{{name: {},"),
        ("scale: N", "scale: {}"),
        ("build: three-lamp", "build: {}"),
        ("61: {", "{}: {{"),
        ("broker:", "{}:"),
    ],
)
@pytest.mark.parametrize("filler", ["x" * 1_000_000, "9" * 1_000_000, '"' + " \\n" * 300_000 + 'x"'])
def test_a_line_of_a_megabyte_is_told_in_short(change: tuple[str, str], filler: str) -> None:
    """A value as long as a book is refused in a line that fits a screen."""
    old, new = change
    found = said_of(changed(old, new.format(filler)))
    assert found
    assert all(len(line) < 500 for line in found)
    assert all(len(line.splitlines()) == 1 for line in found)


def test_words_of_the_railroad_stay_words() -> None:
    """`on`, `off`, `yes` and `no` are words (YAML 1.2.2, section 10.3.2); only true and false are truth."""
    assert ["on", "off", "yes", "no", True, False, None] == parse(
        "[on, off, yes, no, true, false, null]"
    ).data


def test_figures_are_numbers_unless_they_are_names() -> None:
    """Plain figures are numbers; leading zeros, an E inside and quotes make them names."""
    assert [61, -3, 0, 1.5, "007", "4E2", "61", "1:30"] == parse(
        '[61, -3, 0, 1.5, 007, 4E2, "61", 1:30]'
    ).data


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_every_end_of_line_is_counted(end: str) -> None:
    """A file from any machine has its mistakes told in the right line."""
    text = changed("scale: N", "scale: X").replace("\n", end)
    [line] = said_of(text)
    assert line.startswith("f:2:8: error: no scale is called 'X'")


def test_a_file_without_a_last_end_of_line_is_fine() -> None:
    """The last line needs no end."""
    assert [] == said_of(SOUND.rstrip("\n"))
