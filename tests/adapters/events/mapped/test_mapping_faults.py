"""What is wrong with mapped messages in a layout file: each with its line, and with what to write instead."""

from __future__ import annotations

import pytest

from bridge.layout.findings import Finding
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters

REST = """
builds: {searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}}
nodes: {bench: {chains: [{name: one, fixtures: [{name: S1, build: searchlight}]}]}}
blocks: {w: , v: }
signals: {S1: {commands: {61: {normal: stop, reverse: clear}}}}
"""
HEAD = "layout: Faults\nsources:\n  yard:\n    kind: topics\n    messages:\n"


def found(*lines: str) -> tuple[Finding, ...]:
    """Return what is found in a source whose lines these are; the first is line 6 of the file."""
    text = HEAD + "\n".join(lines) + REST
    return look_at_text("faults.yaml", text.encode(), Adapters()).findings


SAID = "      - {topic: y, tells: block, name: w}"

# What stands in line 6, and what is said of it.
ONE_BY_ONE = [
    ("topic: y", "the key 'tells' is missing here"),
    (
        "topic: y, tells: blok, name: w",
        "'blok' is not what a message can tell of: write ordered, proved, aspect,",
    ),
    ("topic: y, tells: block, name: w, qos: 3", "3 is not a quality of service: write 0 to 2"),
    ("topic: y, tells: block, name: w, kept: command", "a kept copy is never a command"),
    ("topic: y, tells: block, name: w, kept: no", "write state or ignore"),
    ("topic: y, tells: block, name: {x}", "put the text in quotes"),
    ("topic: y, tells: block, name: w, written: octal", "write decimal, hex, binary or bytes"),
    ("topic: y, tells: block, name: w, invert: maybe", "write true, or a list"),
    ("topic: y, tells: block, name: w, json: {value: state.on}", "such as /state/on"),
    ("topic: y, tells: ordered, number: 1, offset: 1.5", "1.5 is not an offset"),
    ("topic: y, tells: block, name: w, topc: z", "no key 'topc' belongs here"),
    (
        "topic: y, tells: block, name: w, means: {1: ocupied}",
        "'ocupied' cannot be said of a block: write occupied,",
    ),
    ("topic: y, tells: block, name: w, means: {1: true}", "true cannot be said of a block"),
    (
        "topic: y, tells: aspect, number: 1, means: {a: 256}",
        "256 cannot be said of an extended accessory: write an aspect",
    ),
    ("topic: y, tells: block, name: w, otherwise: gone", "'gone' cannot be said of a block"),
    ("topic: y, tells: block, name: w, means: {9 to 4: clear}", "write the lower number first, 4 to 9"),
    ("topic: y, tells: block, name: w, means: {'> 4': clear}", "is no range: write `below 4`"),
    (
        "topic: y, tells: block, name: w, means: {0 to 4: clear, 4 to 9: occupied}",
        "could be in '0 to 4' and in '4 to 9'",
    ),
    (
        "topic: y, tells: block, name: w, means: {1: clear, 1.0: occupied}",
        "the number 1.0 has a meaning already",
    ),
    ("topic: y, tells: ordered", "nothing says which one it is: write {number} where it stands in the topic"),
    ("topic: 'y/{name}', tells: ordered", "nothing says which one it is: write {number}"),
    ("topic: 'y/{number}', tells: block", "nothing says which one it is: write {name}"),
    ("topic: y, tells: block, number: 4", "a block has a name: write `name` for it"),
    ("topic: y, tells: ordered, number: 2049", "2049 is no accessory number: write 1 to 2048"),
    ("topic: 'y/{name}', tells: block, called: {a: ''}", "'' is no name"),
    ("topic: y, tells: block, name: '{area}'", "no part of this message is called {area}; it has {value}"),
    (
        "topic: y, tells: block, name: w, text: 'state {x}'",
        "no part is called {value}, so nothing says what a block does",
    ),
    (
        "topic: 'y/{value}', tells: block, name: w, text: 'x{value}'",
        "the part 'value' stands in the topic and in the payload",
    ),
    ("topic: y, tells: block, name: w, text: 'x{value}', json: {value: /a}", "leave out `text`, or `json`"),
    (
        "topic: y, tells: block, bits: {64: w}, means: {1: clear}",
        "'64' is no bit: they count from 0, the lowest, to 63",
    ),
    ("topic: y, tells: block, bits: {0: w}", "add `means: {1: occupied, 0: clear}`, or the other way round"),
    (
        "topic: y, tells: block, bits: {0: w}, means: {1: clear}, name: v",
        "`bits` says already which ones they are",
    ),
    ("topic: y, tells: block, bits: {0: w}, members: {/a: w}, means: {1: clear}", "leave out `bits`"),
    ("topic: y, tells: block, members: {a: w}", "begin with a `/`, such as /a"),
    ("topic: y, tells: block, each: '', text: '{value}'", "`each` is about JSON: leave out `text`"),
    (
        "topic: y, tells: ordered, bits: {0: 1}, means: {1: normal}",
        "add `authority: state` if they only say how it stands",
    ),
    (
        "topic: y, tells: ordered, number: 1, authority: feedback",
        "write command or state, or `tells: proved`",
    ),
    (
        "topic: y, tells: button, name: b, authority: state",
        "'state' does not fit `tells: button`: write command",
    ),
    ("topic: y, tells: aspect, number: 1, invert: true", "nothing has an opposite: leave out `invert`"),
    ("topic: y, tells: block, name: w, offset: 1", "a block has no number: leave out `offset`"),
    ("topic: y, tells: use, name: w", "nothing says what is taken out of use: add `of`, with signal, block,"),
    ("topic: y, tells: use, name: w, of: tree", "'tree' does not fit: write signal, block,"),
    ("topic: y, tells: block, name: w, of: block", "leave out `of`"),
    (
        "topic: y, tells: clock, text: '{x}'",
        "a clock needs a part called time, minutes, seconds, rate or value",
    ),
    (
        "topic: y, tells: clock, json: {time: /a, seconds: /b}",
        "one time is enough: leave out the part seconds",
    ),
    ("topic: y, tells: clock, name: w", "there is one clock: leave out `name`"),
    ("topic: y, tells: clock, rate: 600", "600 is no rate"),
    (
        "topic: y, tells: block, name: w, written: bytes, json: {value: /a}",
        "of bytes there is neither text nor JSON",
    ),
    ("topic: lamproom/frame/+/+, tells: block, name: w", "our own frames and reports go out"),
]


@pytest.mark.parametrize(("said", "message"), ONE_BY_ONE)
def test_each_fault_is_told_in_its_line(said: str, message: str) -> None:
    """Beside a sound entry, in the line where it stands."""
    (finding,) = found(f"      - {{{said}}}", SAID)
    assert message in finding.message
    assert 6 == finding.mark.line


@pytest.mark.parametrize(
    "said",
    [
        "topic: y, tells: block, name: x",
        "topic: y, tells: block, members: {/a: w, /b: x}",
        "topic: y, tells: block, bits: {0: x}, means: {1: clear}",
        "topic: 'y/{name}', tells: block, called: {a: x}",
    ],
)
def test_a_block_that_is_not_in_the_layout_is_found(said: str) -> None:
    """Wherever the file names it: such a slip would else be found when the train comes."""
    (finding,) = found(f"      - {{{said}}}")
    assert (6, "no block is called 'x'; use one of: w, v") == (finding.mark.line, finding.message)


def test_a_fault_points_at_its_word() -> None:
    """Deep inside an entry that is written over several lines."""
    lines = [
        "      - topic: y",
        "        tells: block",
        "        name: w",
        "        means:",
        "          1: ocupied",
    ]
    (finding,) = found(*lines)
    assert (10, 14) == (finding.mark.line, finding.mark.column)


def test_all_faults_of_all_entries_are_told_at_once() -> None:
    """Whoever mends one has not to wait for the next."""
    findings = found(
        "      - {topic: y, tells: ordered}",
        "      - {topic: z, tells: block, name: w, means: {1: x, 2: y}}",
        "    alive: {topic: 'a/{b}'}",
    )
    assert [6, 7, 7, 8, 8] == [finding.mark.line for finding in findings]


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("topic: y", "add `gone`, the words of its last will, or `heartbeat`"),
        ("topic: y/+, gone: off", "write it out, without parts"),
        ("topic: y, gone: [off]", "is no text"),
        ("topic: y, gone: ' '", "is no text"),
        ("topic: y, here: off, gone: off", "nobody could tell them apart"),
        ("topic: y, here: '1', gone: 1", "nobody could tell them apart"),
        ("topic: y, here: 1.0, gone: 1", "nobody could tell them apart"),
        ("topic: y, here: 'true', gone: true", "nobody could tell them apart"),
        ("topic: y, here: up, gone: 'up '", "nobody could tell them apart"),
        ("topic: y, heartbeat: 10", "write a number and ms, s or min"),
        ("topic: y, heartbeat: 500 ms", "a heartbeat is 1 s to 1440 min"),
    ],
)
def test_each_fault_of_how_it_is_alive_is_told(said: str, message: str) -> None:
    """In the line of `alive`."""
    (finding,) = found(SAID, f"    alive: {{{said}}}")
    assert message in finding.message
    assert 7 == finding.mark.line


@pytest.mark.parametrize("said", ["here: true, gone: 1", "here: 0, gone: false", "here: up, gone: Up"])
def test_words_that_a_message_tells_apart_may_both_stand_there(said: str) -> None:
    """They are compared as text, where the number is another word than the truth value."""
    assert () == found(SAID, f"    alive: {{topic: y, {said}}}")


def test_topics_that_meet_are_warned_of() -> None:
    """A broker may send a message once for each filter that it matches (MQTT 3.1.1, section 3.3.5)."""
    (finding,) = found(
        "      - {topic: y/+/set, tells: block, name: w}",
        "      - {topic: 'y/west/{value}', tells: block, name: w}",
    )
    assert (7, "warning") == (finding.mark.line, finding.level.value)
    assert "'y/west/+'" in finding.message
    assert () == found(
        "      - {topic: y/#, tells: block, name: w}", "      - {topic: y/a, tells: block, name: w}"
    )
