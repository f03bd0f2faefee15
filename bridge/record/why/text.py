"""An answer in sentences, the most important first."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import groupby

from bridge.events import SECOND
from bridge.layout.crossings import Phase
from bridge.record.why.answer import Answer, Blame, Cited, Kind, Link, Lit, Needed, Passed, When
from bridge.record.why.chain import words_of
from bridge.record.words import instant_text

LONGEST_CHAIN = 12
"""Lines of the chain in the text; all of it is in the JSON."""


def answer_lines(answer: Answer) -> list[str]:
    """Return what an owner wants to know: a headline, what is to blame, the chain, and what it would have needed."""
    lines = [answer.doubt, *_head(answer)] if answer.doubt else list(_head(answer))
    deep = any(link.below for link in answer.chain.below) or len(answer.chain.below) > len(answer.causes)
    if deep or answer.over:
        lines += _section("cause", [_cause(each) for each in answer.causes[:4]])
    lines += _section("over its light", [_over(link) for link in answer.over if link.kind is not Kind.TOLD])
    chain = list(_chain(answer.chain, 0))
    if len(chain) > LONGEST_CHAIN:
        chain = [*chain[:LONGEST_CHAIN], f"... and {len(chain) - LONGEST_CHAIN} more; --json has all of them"]
    lines += _section("because", chain)
    lines += _section("passed over", [_passed(each) for each in answer.passed_over[-4:]])
    better = "would have shown" if answer.subject in ("signal", "light") else "would have been"
    lines += _section(better, [*_needed(answer), *answer.impossible])
    lamps = _lamps(answer.lamps)
    if answer.moving and lamps:
        lamps.append("these were so at that very moment: it flashes, or plays an effect")
    lines += _section("lamps", lamps)
    return [*lines, *(f"note: {note}" for note in answer.notes)]


def _section(title: str, lines: list[str]) -> list[str]:
    return [f"{title}:", *(f"  {line}" for line in lines)] if lines else []


def _head(answer: Answer) -> Iterator[str]:
    name = _name(answer)
    subject = name if name == answer.subject else f"{answer.subject} {name}"
    yield f"{subject} at {_when(answer.when)}: {answer.aspect}"
    before = f"; {answer.before} before that" if answer.before else ", all the time"
    if answer.earlier:
        yield f"since before {_when(answer.since)}, where this file goes on from {answer.earlier}"
    else:
        yield f"since {_when(answer.since)}{before}"
    since = ""
    if answer.reason_since.at != answer.since.at:
        since = f" (for this reason since {_clock(answer.reason_since)})"
    yield f"reason: {answer.reason}{since}"
    for row in answer.chain.rows:
        yield f"by the layout file, line {row.line}: {row.text}"


def _name(answer: Answer) -> str:
    return answer.device.removeprefix(f"{answer.subject} ")


def _cause(blame: Blame) -> str:
    return f"{blame.text}{f' (#{blame.event})' if blame.event else ''}"


def _over(link: Link) -> str:
    numbers = [f"#{below.event.number}" for below in link.below if below.event is not None]
    events = f" ({', '.join(numbers)})" if numbers else ""
    return f"{words_of(link)}: {link.reason}{events}"


def _chain(link: Link, depth: int) -> Iterator[str]:
    if depth:
        yield f"{'  ' * (depth - 1)}{_link(link)}"
    for below in link.below:
        yield from _chain(below, depth + 1)


def _link(link: Link) -> str:
    told = "" if link.event is None else f", {_cited(link.event)}"
    text = words_of(link)
    if link.event is not None and link.event.text == text:
        return f"{text}{told}"
    since = f" since {_clock(link.since)}" if link.since is not None and link.event is None else ""
    why = f": {link.reason}" if link.reason and link.reason not in text else ""
    rows = f" (line {', '.join(str(row.line) for row in link.rows)})" if link.rows else ""
    return f"{text}{since}{why}{rows}{told}"


def _cited(event: Cited) -> str:
    if not event.channel:
        return f"event #{event.number} at {_clock(event.when)}"
    raw = event.raw if isinstance(event.raw, str) else "bytes"
    kept = ", a kept copy" if event.retained else ""
    return f"event #{event.number} at {_clock(event.when)} on {event.channel}: {raw:.40}{kept}"


def _passed(each: Passed) -> str:
    event = each.event
    number = "" if each.kind == "refused" else f" (#{event.number})"
    return f"{_clock(event.when)} {event.text}{number}: {each.why}"


def _needed(answer: Answer) -> Iterator[str]:
    for aspect, group in groupby(answer.needed, key=lambda each: each.aspect):
        for number, each in enumerate(list(group)[:3]):
            either = "or" if number else "idle, the road open" if aspect == Phase.IDLE else aspect
            yield f"{either}: {_if(each)}"


def _if(each: Needed) -> str:
    after = f", {_seconds(each.after)} later" if each.after else ""
    if not each.things:
        return f"by itself{after}"
    *first, last = each.things
    things = f"{', '.join(first)} and {last}" if first else last
    return f"if {things}{after}"


def _seconds(time: int) -> str:
    tenths = -(-time * 10 // SECOND)
    return f"{tenths // 10}.{tenths % 10} s" if tenths % 10 else f"{tenths // 10} s"


def _lamps(lamps: tuple[Lit, ...]) -> list[str]:
    lit = [each for each in lamps if each.lit]
    dark = [f"{each.fixture} {each.lamp}" for each in lamps if not each.lit]
    found = [
        f"{each.fixture} {each.lamp}: {_levels(each)} (chain {each.chain}, chip {each.position})"
        for each in lit
    ]
    return [*found, *([f"dark: {', '.join(dark)}"] if dark else [])]


def _levels(lamp: Lit) -> str:
    if list(lamp.levels) == ["light"]:
        return f"lit, {lamp.levels['light']} of 255"
    return " ".join(f"{die} {level}" for die, level in lamp.levels.items())


def _when(when: When) -> str:
    model = f", model time {when.model}" if when.model else ""
    return f"{_clock(when)} ({instant_text(when.at)} after it began{model})"


def _clock(when: When) -> str:
    return f"{datetime.fromisoformat(when.wall):%Y-%m-%d %H:%M:%S}"
