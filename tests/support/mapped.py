"""Entries of `messages` as a layout file has them, and any that Hypothesis can think of."""

from __future__ import annotations

import json
from typing import Any, Final

from hypothesis import strategies as st

from adapters.events.mapped.keys import MessageOptions, Tells
from adapters.events.mapped.kinds import KINDS
from adapters.events.mapped.mapping import Mapping, look_at_all
from bridge.layout.text import parse

AT: Final = 5


def entry(text: str) -> MessageOptions:
    """Return one entry, written in braces."""
    return MessageOptions.model_validate(parse("{" + text + "}").data)


def mapping(*texts: str) -> Mapping:
    """Return entries without faults, made ready."""
    entries = tuple(entry(text) for text in texts)
    assert () == look_at_all(entries)
    return Mapping(entries)


WORDS = st.sampled_from(
    [
        "T",
        "C",
        "on",
        "off",
        "true",
        "null",
        "0",
        "1",
        "-2.5",
        "1.0",
        "",
        "below 3",
        "4 to 7",
        "above 9",
        "nothing",
        "é",
    ]
)
NAMES = st.sampled_from(["number", "name", "value", "key", "area", "time", "rate", "x"])
LEVELS = st.one_of(
    st.sampled_from(["yard", "a", "", "+", "W-1"]),
    NAMES.map("{{{}}}".format),
    NAMES.map("t-{{{}}}-x".format),
)
TOPICS = st.lists(LEVELS, min_size=1, max_size=4).map("/".join)
POINTERS = st.sampled_from(["", "/a", "/a/b", "/0", "/state/on", "/m~1n", "/a~0b/2"])


def _said(tells: str) -> st.SearchStrategy[Any]:
    """What may be said of a kind, and seldom what may not."""
    words = [*KINDS[Tells(tells)].words, "nothing"] * 8 + ["wrong"]
    return st.integers(0, 256) if tells == "aspect" else st.sampled_from(words)


@st.composite
def entries(draw: st.DrawFn) -> dict[str, Any]:
    """Draw an entry as plain data: about half of them have a fault."""
    tells = draw(st.sampled_from([each.value for each in Tells]))
    kind = KINDS[Tells(tells)]
    ours = st.integers(1, 2049) if kind.numbered else st.sampled_from(["west", "east", "loft-2", ""])
    several: dict[str, st.SearchStrategy[Any]] = {
        "each": POINTERS,
        "members": st.dictionaries(POINTERS, ours, min_size=1, max_size=3),
        "bits": st.dictionaries(st.integers(0, 64).map(str), ours, min_size=1, max_size=4),
    }
    where: dict[str, st.SearchStrategy[Any]] = {
        "text": st.sampled_from(
            ["{value}", "{value} mA", "{x},{value}", "{time} {value}", "{number} {value}", "x"]
        ),
        "json": st.dictionaries(NAMES, POINTERS, max_size=2).flatmap(
            lambda found: POINTERS.map(lambda pointer: {**found, "value": pointer})
        ),
    }
    optional: dict[str, st.SearchStrategy[Any]] = {
        "called": st.dictionaries(WORDS, ours, max_size=2),
        "otherwise": _said(tells),
        "written": st.sampled_from(["decimal", "hex", "binary", "bytes"]),
        "kept": st.sampled_from(["state", "ignore"]),
    }
    if kind.numbered:
        optional["offset"] = st.integers(-300, 300)
    if kind.turned:
        optional["invert"] = st.one_of(st.booleans(), st.just([61, "west"]))
    if kind.lesser:
        optional["authority"] = st.sampled_from([kind.live.value, "state"])
    said: dict[str, Any] = {"topic": draw(TOPICS), "tells": tells}
    for choices in (several, where):
        key = draw(st.sampled_from([None, None, *choices]))
        if key is not None and not (tells == "clock" and choices is several):
            said[key] = draw(choices[key])
    if tells == "use":
        said["of"] = draw(st.sampled_from(["signal", "block"]))
    elif tells == "clock":
        optional["rate"] = st.sampled_from([1, 2.5, 511.75, 600])
    if tells != "clock" and not {"members", "bits"} & {*said} and draw(st.integers(0, 3)):
        said.update(
            {"number": draw(ours)}
            if kind.numbered
            else {"name": draw(st.sampled_from(["west", "{key}", "{value}"]))}
        )
    if "bits" in said or draw(st.booleans()):
        said["means"] = draw(st.dictionaries(WORDS, _said(tells), min_size=1, max_size=5))
    chosen = draw(st.lists(st.sampled_from(sorted(optional)), max_size=3, unique=True))
    return said | {key: draw(optional[key]) for key in chosen}


JSON_VALUES = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(allow_nan=True),
        st.sampled_from(["T", "1", " on ", ""]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["a", "b", "state", "on", "0", "m/n", "a~b"]), inner, max_size=4),
    ),
    max_leaves=12,
)
PAYLOADS = st.one_of(
    st.binary(max_size=40),
    WORDS.map(str.encode),
    st.text(max_size=30).map(lambda text: text.encode("utf-8", "surrogatepass")),
    JSON_VALUES.map(lambda value: json.dumps(value).encode()),
    st.sampled_from(
        [
            b"0x1f",
            b"101",
            b"12.5 mA",
            b"06:45 go",
            b"1e999999999",
            b"9" * 5000,
            b"[" * 20_000,
            b'"' + b'\\"' * 9000,
        ]
    ),
)
