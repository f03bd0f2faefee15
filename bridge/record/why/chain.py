"""The chain of causes: from what a thing shows down to what came in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from operator import itemgetter
from typing import Final, NamedTuple

from bridge.engine import Engine
from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    BlockReported,
    BlockState,
    ButtonReported,
    ClockReported,
    Event,
    Instant,
    NodeReported,
    RouteKept,
    SourceReported,
    UseReported,
)
from bridge.layout.model import DARK, MINUTE, OFF, ON, Layout
from bridge.layout.units import percent_text
from bridge.logic.blocks import NEVER_REPORTED
from bridge.logic.device import STILLED
from bridge.logic.gate import State
from bridge.logic.known import (
    ANOTHER,
    BLOCK,
    BUTTON,
    CLOCK,
    CROSSING,
    ENTERED,
    LIGHT,
    NUMBER,
    ORDERED,
    PROVED,
    RUN,
    SIGNAL,
    TOGGLED,
    UNKNOWN,
)
from bridge.logic.reasons import NOT_PRESSED, NOTHING_YET
from bridge.logic.rests import Lack, Rest
from bridge.record.why.answer import Blame, Cited, Kind, Link, When
from bridge.record.why.rows import devices_of, obeyed_by, rows_of
from bridge.record.why.watching import Watched

DEEPEST: Final = 8
"""Signals one behind the other: what lies further away has never been seen to matter, and rings have no end."""

SUBJECTS: Final = {
    BLOCK: "block",
    ORDERED: "accessory",
    PROVED: "turnout",
    NUMBER: "extended accessory",
    BUTTON: "button",
    TOGGLED: "button",
    RUN: "button",
    ENTERED: "block",
    CLOCK: "model clock",
}
"""What sort of thing a fact is about."""

_OF_FACT: Final = {
    ORDERED: Kind.ORDERED,
    PROVED: Kind.PROVED,
    NUMBER: Kind.NUMBER,
    BUTTON: Kind.PRESSED,
    TOGGLED: Kind.PRESSED,
    RUN: Kind.PRESSED,
    ENTERED: Kind.OCCUPIED,
    CLOCK: Kind.CLOCK,
}

_OF_GATE: Final = {State.TIMED: Kind.TIMED, State.PASSED: Kind.PASSED, State.KEPT: Kind.KEPT}

_OF_EVENT: Final[Mapping[type[Event], Kind]] = {
    SourceReported: Kind.SOURCE,
    NodeReported: Kind.NODE,
    UseReported: Kind.USE,
    RouteKept: Kind.KEPT,
    AccessoryOrdered: Kind.ORDERED,
    AccessoryProved: Kind.PROVED,
    AspectOrdered: Kind.NUMBER,
    ButtonReported: Kind.PRESSED,
    ClockReported: Kind.CLOCK,
}

_ALL_WELL: Final = frozenset((Kind.CLEAR, Kind.PROVED, Kind.CLOCK, Kind.SHOWS, Kind.TOLD))
"""What is no cause where there is any other."""


_THINGS: Final = (SIGNAL, LIGHT, CROSSING, ANOTHER)
"""What has a chain of its own."""


class _Matters(NamedTuple):
    """What has mattered.

    Attributes:
        reason: the sentence; of a crossing, that of each of its tracks.
        holders: signals that have something locked that was needed.
        rests: the things, in the order in which the sentence comes to speak of them, and then those that it rests on.
        named: the sentence names any.
    """

    reason: str
    holders: tuple[str, ...]
    rests: tuple[Rest, ...]
    named: bool


class Tracer:
    """Follows the chain, in the state in which an engine stands."""

    def __init__(
        self,
        engine: Engine,
        watched: Watched,
        cited: Mapping[int, tuple[Event, Cited]],
        whens: Mapping[Instant, When],
    ) -> None:
        """Trace in an engine; `cited` has the events by number, and `whens` the instants, as far as they were read."""
        self._layout: Layout = engine.layout
        self._asked = engine.asked
        self._watched = watched
        self._cited = cited
        self._marks: dict[str, str] = {signal.name: "signal" for signal in self._layout.signals}
        self._marks |= {light.name: "light" for light in self._layout.lights}
        self._whens = whens
        self.seen: dict[str, None] = {}  # all that was gone through, in that order

    def numbers(self, name: str) -> set[int]:
        """Return the events that a chain from here on cites; for them to be looked up before it is traced."""
        self.seen = {}
        found: set[int] = set()
        for link_rests, causes in self._walk(name, 0):
            found |= {rest.event for rest in link_rests} | set(causes)
        return found - {0}

    def _walk(self, name: str, depth: int) -> Iterator[tuple[tuple[Rest, ...], tuple[int, ...]]]:
        if name in self.seen or depth > DEEPEST:
            return
        self.seen[name] = None
        matters = self._matters(name)
        yield matters.rests, self._asked.state_of(name).causes
        others = [str(rest.key[1]) for rest in matters.rests if rest.key[0] in _THINGS]
        for other in (*matters.holders, *others):
            yield from self._walk(other, depth + 1)

    def _matters(self, name: str) -> _Matters:
        """Return what of all that a thing goes by has mattered for what it shows."""
        choice, rests = self._asked.state_of(name), self._asked.rests_on(name)
        reason = choice.reason
        if self.subject(name) == "crossing":
            reason = "; ".join((reason, *self._asked.calls(name)))
        hold = self._asked.hold(name)
        holders = tuple(other for other in ([] if hold is None else hold.others) if _says(other, reason))
        obeyed = set(obeyed_by(self._layout, name))
        # What was told but not obeyed says nothing of why it shows what it does.
        counting = [
            rest
            for rest in rests
            if not (rest.key[0] == SIGNAL and rest.key[1] in holders)
            and not (rest.key in obeyed and rest.event not in choice.causes and rest.lack is None)
        ]
        places = [(_place(rest, reason), rest) for rest in counting]
        named = [rest for place, rest in sorted(places, key=itemgetter(0)) if place >= 0]
        # Where the sentence names things, what else it rests on was as it had to be.
        carried = [
            rest for rest in counting if rest.event in choice.causes and rest.event and rest not in named
        ]
        return _Matters(reason, holders, (*named, *carried), bool(named))

    def subject(self, name: str) -> str:
        """Return what sort of thing is called so."""
        if name in self._marks:
            return self._marks[name]
        if name == STILLED:
            return "flashing"
        return "crossing" if any(each.name == name for each in self._layout.crossings) else "zone"

    def trace(self, name: str) -> Link:
        """Return the chain from a thing on."""
        self.seen = {}
        return self._thing(name, Kind.SHOWS, 0)

    def _thing(self, name: str, kind: Kind, depth: int) -> Link:
        choice, subject = self._asked.state_of(name), self.subject(name)
        state = percent_text(int(choice.aspect)) if subject == "zone" else choice.aspect
        stands = self._watched.stands(name)
        known = stands if stands is not None and stands.state == state else None
        link = Link(
            kind=kind,
            subject=subject,
            name=name,
            state=state,
            reason=choice.reason,
            since=None if known is None else self._whens[known.since],
            rows=rows_of(self._layout, self._asked, name, choice.aspect),
        )
        if name in self.seen or depth > DEEPEST:
            return replace(
                link, reason=f"{choice.reason} (see above)" if name in self.seen else choice.reason
            )
        self.seen[name] = None
        return replace(link, below=tuple(self._below(name, choice.reason, choice.causes, depth)))

    def _below(self, name: str, reason: str, causes: tuple[int, ...], depth: int) -> Iterator[Link]:
        lost = next((each.lost for each in devices_of(self._layout) if each.name == name), "")
        if lost and reason.endswith(lost):
            yield Link(Kind.WIRING, "wiring of", name, "", lost)
            return
        matters = self._matters(name)
        for other in matters.holders:
            yield replace(self._thing(other, Kind.LOCKED, depth + 1), kind=Kind.LOCKED)
        yield from self._gate(name, reason)
        for rest in matters.rests:
            yield self._rest(rest, depth)
        told = {rest.event for rest in matters.rests}
        for number in causes:
            if number not in told and number in self._cited:
                link = self._event(number, matters.reason)
                if link is not None:
                    yield link
        if not causes and not matters.named:
            nothing = self._nothing(name, reason, self._asked.rests_on(name))
            if nothing is not None:
                yield nothing

    def _gate(self, name: str, reason: str) -> Iterator[Link]:
        hold = self._asked.hold(name)
        kind = None if hold is None else Kind.USED_UP if hold.used_up else _OF_GATE.get(State(hold.state))
        if hold is not None and kind is not None:
            due = ""
            if hold.due is not None:
                due = f", until {datetime.fromisoformat(self._whens[hold.due].wall):%H:%M:%S}"
            why = reason.partition("; it was told to show ")[0]
            yield Link(kind, "route", hold.route or name, hold.state, f"{why}{due}")

    def _rest(self, rest: Rest, depth: int) -> Link:
        subject, thing = rest.key
        if subject in _THINGS:
            link = self._thing(str(thing), Kind.SHOWS, depth + 1)
            if rest.lack is Lack.WIRING:
                return replace(link, kind=Kind.WIRING, reason=rest.why, about=rest.about, below=())
            if rest.lack is Lack.NODE:
                event = self._cited.get(rest.event)
                of_use = event is not None and isinstance(event[0], UseReported)
                own = of_use and isinstance(event[0], UseReported) and event[0].subject != "node"  # type: ignore[index]
                kind = Kind.USE if own else Kind.NODE
                return replace(
                    link,
                    kind=kind,
                    reason=rest.why,
                    about=rest.about,
                    event=self._citation(rest.event),
                    below=(),
                )
            if rest.value == "absent":
                return replace(
                    link, kind=Kind.USE, reason="it is absent", event=self._citation(rest.event), below=()
                )
            return link
        return self._fact(rest)

    def _fact(self, rest: Rest) -> Link:
        subject, thing = rest.key
        name = str(thing).partition("/")[0] if subject in (RUN, ENTERED) else str(thing)
        about = rest.about
        kind = _OF_FACT.get(subject, Kind.TOLD)
        if rest.lack is Lack.SOURCE and rest.why == NEVER_REPORTED:
            kind = Kind.NEVER  # what it rests on is its power or its use alone: no source has told of it
        elif rest.lack is not None:
            kind = Kind(rest.lack.value)
            about = self._lost_by(rest.event) if rest.lack is Lack.SOURCE else about
        elif subject == BLOCK:
            kind = Kind.CLEAR if rest.value == BlockState.CLEAR else Kind.OCCUPIED
        cited = None if kind is Kind.NEVER else self._citation(rest.event)
        why = rest.why
        if rest.event and kind is not Kind.NEVER and rest.event not in self._cited and not why:
            why = f"event #{rest.event}, which is not in this file"
        if rest.copied:
            why = "known from before the restart" if rest.restored else "known by a kept copy"
        state = rest.value or "never heard of"
        since = None if cited is None else cited.when
        return Link(kind, SUBJECTS.get(subject, subject), name, state, why, since, about, cited)

    def _lost_by(self, number: int) -> str:
        cited = self._cited.get(number)
        if cited is None:
            return ""
        event = cited[0]
        return event.name if isinstance(event, UseReported) else event.source

    def _event(self, number: int, reason: str) -> Link | None:
        """Return a link for an event that no fact rests on any more, or that is none of the track."""
        event, cited = self._cited[number]
        kind = _OF_EVENT.get(type(event))
        if kind is None:
            if not isinstance(event, BlockReported) or not _says(event.name, reason):
                return None
            kind = Kind.OCCUPIED if event.state is BlockState.OCCUPIED else Kind.CLEAR
        subject, name = _thing_of(event)
        return Link(kind, subject, name, cited.text, "", cited.when, event=cited)

    def _nothing(self, name: str, reason: str, rests: Iterable[Rest]) -> Link | None:
        if (
            NOTHING_YET not in reason
            and NOT_PRESSED not in reason
            and "was heard of since the start" not in reason
        ):
            return None
        what = ", ".join(
            dict.fromkeys(
                f"{SUBJECTS[rest.key[0]]} {rest.key[1]}" for rest in rests if rest.key[0] in SUBJECTS
            )
        )
        wants = next(
            (each.restores for each in devices_of(self._layout) if each.name == name),
            False,
        )
        why = f"by {what}" if what else "at all"
        if wants and not any(rest.restored for rest in rests):
            why += (
                "; it takes up orders from before a restart, and none was taken up: there were none, or they were "
                f"older than {_hours(self._layout.restore_within)}"
            )
        return Link(Kind.NOTHING, self.subject(name), name, "nothing was ordered", why)

    def _citation(self, number: int) -> Cited | None:
        cited = self._cited.get(number)
        return None if cited is None else cited[1]


def _hours(time: int) -> str:
    minutes = time // MINUTE
    return f"{minutes // 60} h" if minutes and minutes % 60 == 0 else f"{minutes} min"


def _thing_of(event: Event) -> tuple[str, str]:
    match event:
        case SourceReported():
            return "source", event.source
        case NodeReported():
            return "node", event.node
        case UseReported():
            return event.subject.value, event.name
        case RouteKept():
            return "route", event.route
        case AccessoryOrdered():
            return "accessory", str(event.number)
        case AccessoryProved():
            return "turnout", str(event.number)
        case AspectOrdered():
            return "extended accessory", str(event.number)
        case ButtonReported():
            return "button", event.name
        case BlockReported():
            return "block", event.name
    return "model clock", ""


def _place(rest: Rest, reason: str) -> int:
    """Return where a sentence comes to speak of a thing, or -1 where it does not."""
    subject, thing = rest.key
    name = str(thing)
    match subject:
        case "accessory" | "proved" | "aspect":
            name = f"accessory {thing}"
        case "button" | "toggled" | "run":
            name = f"button {name.partition('/')[0]}"
        case "block" | "entered" if "block" in reason:  # several are listed behind one word
            name = name.partition("/")[0]
        case "block" | "entered":
            return -1
        case "clock":
            name = "model clock"
    return _where(name, reason)


def _where(name: str, text: str) -> int:
    found = re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", text)
    return -1 if found is None else found.start()


def _says(name: str, text: str) -> bool:
    return _where(name, text) >= 0


def blames(chain: Link) -> tuple[Blame, ...]:
    """Return the ends of a chain: what is most to blame first, and what was as it had to be only if nothing was not."""
    found = list(dict.fromkeys(_ends(chain)))
    order = list(Kind)
    found.sort(key=lambda each: order.index(each.kind))
    wrong = [each for each in found if each.kind not in _ALL_WELL]
    return tuple(wrong or found)


def _ends(link: Link) -> Iterator[Blame]:
    for below in link.below:
        yield from _ends(below)
    if not link.below or link.kind is Kind.LOCKED:
        yield Blame(
            link.kind, link.about or link.name, words_of(link), 0 if link.event is None else link.event.number
        )


def words_of(link: Link) -> str:
    """Return a link as half a sentence."""
    what = f"{link.subject} {link.name}".strip()
    reason = f" ({link.reason})" if link.reason else ""
    plain = {
        Kind.NEVER: f"{what} {'is not known' if link.state == UNKNOWN else 'was never heard of'}",
        Kind.NOTHING: f"nothing was ordered of {link.name} since the start, {link.reason}",
        Kind.LOCKED: f"{what} has a route locked",
        Kind.TIMED: link.reason,
        Kind.USED_UP: link.reason,
        Kind.PASSED: link.reason,
        Kind.POWER: f"{what} is not known: {link.reason}",
        Kind.SETTLING: f"{what} is not known: {link.reason}",
        Kind.FILTER: f"{what} is not known: {link.reason}",
        Kind.DETECTOR: f"{what} is not known: {link.reason}",
        Kind.KEPT: link.reason or link.state,
        Kind.WIRING: f"the wiring of {link.about or link.name}: {link.reason}",
        Kind.TESTED: "a lamp test lies over it",
        Kind.SHOWS: f"{what} {'is' if link.state in _STATES or link.subject in _STAND else 'shows'} {link.state}",
        Kind.DIMMED: f"{what} is dimmed to nothing",
        Kind.STILLED: "all flashing is stilled",
    }
    if link.kind in plain:
        return plain[link.kind]
    if link.kind is Kind.SOURCE and link.about:
        if link.reason not in ("", f"{link.about} was lost"):  # it told of something else, such as the power
            return f"{what} is not known: {link.reason}"
        return f"the source {link.about} was lost, which told of {what}"
    if link.kind is Kind.NODE and link.about:
        return f"it is not known what {link.name} shows: {link.reason}"
    if link.kind is Kind.USE and link.reason:
        return f"{what} {link.reason.removeprefix('it ')}"
    return link.event.text if link.event is not None else f"{what} is {link.state}{reason}"


_STAND: Final = ("crossing", "zone", "lock")
"""What shows nothing itself."""

_STATES: Final = (DARK, ON, OFF)
"""What is no aspect that is shown, but a state."""
