"""A kept case as text: what is written is read again, and what is wrong with one written by hand is told."""

from __future__ import annotations

import re
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.events.facts import read_topic
from bridge.errors import DecodeError
from bridge.events import (
    EVENT_KINDS,
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    LampTestEnded,
    LinkState,
    NodeReported,
    Position,
    PowerReported,
    PowerState,
    RouteKept,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.record.case_text import case_text, read_case
from bridge.record.cases import Case, Session
from bridge.record.plain import WHOLE, event_words
from tests.support.pages import fenced_blocks
from tests.support.tree import ROOT

texts: Final = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
words: Final = texts.filter(bool)
names: Final = st.one_of(
    words, st.sampled_from(["Tarn 2", "61", "true", "~", "a: b", "a #b", "4E2", "on", "- x", "a/b"])
)
authorities: Final = st.sampled_from(Authority)
numbers: Final = st.integers(1, 2048)
common: Final = {"at": st.just(0), "source": names}
events: Final[st.SearchStrategy[Event]] = st.one_of(
    st.builds(
        AccessoryOrdered,
        **common,
        number=numbers,
        position=st.sampled_from([Position.NORMAL, Position.REVERSE]),
        authority=authorities,
    ),
    st.builds(AccessoryReleased, **common, number=numbers),
    st.builds(
        AccessoryProved, **common, number=numbers, position=st.sampled_from(Position), authority=authorities
    ),
    st.builds(AspectOrdered, **common, number=numbers, aspect=st.integers(0, 255), authority=authorities),
    st.builds(BlockReported, **common, name=names, state=st.sampled_from(BlockState), authority=authorities),
    st.builds(
        PowerReported, **common, district=names, state=st.sampled_from(PowerState), authority=authorities
    ),
    st.builds(
        ButtonReported, **common, name=names, state=st.sampled_from(ButtonState), authority=authorities
    ),
    st.builds(
        ClockReported,
        **common,
        seconds=st.none() | st.integers(0, 86_399),
        rate_quarters=st.none() | st.integers(-2048, 2047),
        running=st.none() | st.booleans(),
        to_minute=st.booleans(),
        authority=authorities,
    ),
    st.builds(SourceReported, **common, state=st.sampled_from(LinkState), why=texts),
    st.builds(NodeReported, **common, node=names, state=st.sampled_from(LinkState), why=texts),
    st.builds(
        UseReported,
        **common,
        subject=st.sampled_from(Subject),
        name=names,
        out=st.booleans(),
        absent=st.booleans(),
        why=texts,
        authority=authorities,
    ),
    st.builds(RouteKept, **common, signal=names, route=names),
    st.builds(LampTestEnded, **common, mark=texts, chain=texts),
)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Any case."""
    at = 0
    found = []
    for event in draw(st.lists(events, max_size=4)):
        at += draw(st.one_of(st.integers(0, 90 * SECOND), st.just(0), st.just(SECOND)))
        found.append(type(event)(**{key: getattr(event, key) for key in event.__slots__} | _base(event, at)))
    session = st.builds(
        Session, log=words, began=words, at=words, events=st.integers(0, 10**6), lamproom=words
    )
    return Case(
        device=draw(names),
        should=draw(names),
        events=tuple(found),
        look=at + draw(st.integers(0, 3 * SECOND)),
        showed=draw(texts),
        because=draw(texts),
        note=draw(texts),
        session=draw(st.none() | session),
    )


def _base(event: Event, at: int) -> dict[str, object]:
    return {"at": at, "source": event.source}


@given(case=cases())
def test_what_is_written_is_read_again(case: Case) -> None:
    """The very same case comes out of its text, whatever its names are made of."""
    read = read_case(case_text(case))
    assert () == read.findings
    assert case == read.case


@given(event=events)
def test_plain_words_are_those_of_the_topics(event: Event) -> None:
    """What has words of its own has those that an MQTT source understands, with the same meaning."""
    plain = event_words(event)
    (topic, value), *more = ((key, value) for key, value in plain.items() if key != "why")
    if (
        topic == WHOLE
        or topic.split("/")[0] in ("source", "node", "route", "clock")
        or ("as", "restored") in more
    ):
        return
    try:
        fact = read_topic("layout", f"layout/{topic}")
        told = fact.event(str(value).encode(), event.at, event.source, retained=("as", "copy") in more)
    except DecodeError:  # longer than a topic may be, or not printable: no source would have told it
        return
    if isinstance(event, UseReported):
        assert told.why in (event.why, event.why.strip())  # type: ignore[attr-defined]
        return
    assert event == told


def test_most_kinds_have_words_of_their_own() -> None:
    """Of what an owner may be asked to read, only lamp tests stand as in the log."""
    said = {
        "accessory/61/ordered": AccessoryOrdered(at=0, source="bus", number=61, position=Position.REVERSE),
        "accessory/61/proved": AccessoryProved(at=0, source="bus", number=61, position=Position.MOVING),
        "aspect/12": AspectOrdered(at=0, source="bus", number=12, aspect=5),
        "block/Tarn 2": BlockReported(at=0, source="bus", name="Tarn 2", state=BlockState.CLEAR),
        "clock": ClockReported(at=0, source="bus", seconds=5, rate_quarters=10, running=False),
        "use/signal/T4": UseReported(
            at=0, source="bus", subject=Subject.SIGNAL, name="T4", out=True, why="lamp: out"
        ),
        "source": SourceReported(at=0, source="bus", state=LinkState.LOST),
        "node/hill": NodeReported(at=0, source="nodes", node="hill", state=LinkState.LOST),
        "route/W": RouteKept(at=0, source="memory", signal="W", route="to-east"),
    }
    assert list(said) == [next(iter(event_words(event))) for event in said.values()]
    assert len(said) + 6 == len(EVENT_KINDS)  # beside them: released, power, button, and three of lamp tests


BY_HAND: Final = """\
# The lamp at the throat, as it was wired before the rebuild.
device: T1
should: not clear
events:
  - {at: 0 s, by: panel, accessory/61/ordered: reverse}
  - at: 1.5 s          # a block, in several lines
    by: feedback
    block/Tarn 2: occupied
"""


def test_a_case_written_by_hand() -> None:
    """Device, `should` and events are enough; then it is looked at behind the last of them."""
    case = read_case(BY_HAND).case
    assert case is not None
    assert ("T1", "not clear", 3 * SECOND // 2) == (case.device, case.should, case.look)
    assert [AccessoryOrdered, BlockReported] == [type(event) for event in case.events]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("device: T1\n", "", "1:1: error: `device` is missing"),
        ("device: T1", "devise: T1", "2:1: error: a case has no 'devise'; use one of: device, "),
        ("should: not clear", "should: 4", "3:9: error: 4 is no text"),
        (
            "accessory/61/ordered: reverse",
            "accessory/61/order: reverse",
            "5:5: error: no event is about 'accessory/61/o",
        ),
        (
            "accessory/61/ordered: reverse",
            "accessory/061/ordered: reverse",
            "5:5: error: '061' is no accessory number",
        ),
        ("accessory/61/ordered: reverse", "accessory/4000/ordered: reverse", "from 1 to 2048"),
        (
            "accessory/61/ordered: reverse",
            "accessory/61/ordered: sideways",
            "5:5: error: this is no accessory-ordered",
        ),
        (
            "accessory/61/ordered: reverse",
            "accessory/61/ordered: reverse, as: hearsay",
            "'hearsay' is no way in which",
        ),
        ("accessory/61/ordered: reverse", "a/1: x, b/2: y", "5:5: error: 2 things are said at once"),
        (", accessory/61/ordered: reverse", "", "5:5: error: nothing is said"),
        ("accessory/61/ordered: reverse", "clock: {time: 25:00}", "is no time of day"),
        ("accessory/61/ordered: reverse", "clock: {time: 16:00, rate: 0.3}", "0.3 is no rate of the clock"),
        ("accessory/61/ordered: reverse", "use/tree/T1: out", "'tree' cannot be taken out of use"),
        ("accessory/61/ordered: reverse", "event: {kind: nonsense}", "no event of kind 'nonsense'"),
        ("by: panel, ", "", "5:5: error: an event says when it is, by which source, and what"),
        ("at: 0 s", "at: soon", "5:10: error: 'soon' is not a duration"),
        ("at: 0 s", "at: 2 s", "6:5: error: this comes before the event above it (2 s)"),
        ("events:", "look: 1 s\nevents:", "4:7: error: this lies before the last event (1.5 s)"),
        ("events:", "session: here\nevents:", "4:10: error: where it comes from is told by log, began"),
        (BY_HAND, "events", "a case has at least device, should, events"),
        (BY_HAND, "device: [", "error: "),
    ],
)
def test_what_is_wrong_is_told_with_its_place(old: str, new: str, message: str) -> None:
    """Each mistake comes with its line and what to write instead, and such a case is never tried."""
    assert old in BY_HAND
    read = read_case(BY_HAND.replace(old, new, 1))
    assert read.case is None
    assert message in "\n".join(finding.line("x") for finding in read.findings).removeprefix("x:")


@given(
    text=st.text(max_size=60) | st.sampled_from(["", "[]", "~", "- a", "events: {}\ndevice: a\nshould: b"])
)
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever stands there, it is a case, or there is something to say about it."""
    read = read_case(text)
    assert (read.case is None) == bool(read.findings)


def test_the_guide_shows_cases_as_they_are() -> None:
    """The case of the page about logs is read without a finding, and so is every event that it names."""
    page = (ROOT / "config/guide/session-log.md").read_text(encoding="utf-8")
    (shown,) = (block.text for block in fenced_blocks(page, "yaml") if block.text.startswith("device:"))
    read = read_case(shown)
    assert () == read.findings
    assert read.case is not None
    assert read.case == read_case(case_text(read.case)).case
    table = page.partition("| an event | means |")[2].partition("\n\n")
    behind = table[2].partition("## What another")[0]
    named = [
        each
        for line in table[0].splitlines()[1:]
        for each in re.findall(r"`([^`]+: [^`]+)`", line.split("|")[1])
    ]
    named += [*re.findall(r"`(event: [^`]+)`", behind), "accessory/1/ordered: normal, as: copy"]
    assert 13 <= len(named)
    for words_of_it in named:
        text = f"device: T4\nshould: stop\nevents: [{{at: 0 s, by: bus, {words_of_it}}}]\n"
        assert () == read_case(text).findings, words_of_it
