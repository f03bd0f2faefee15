"""The question and its answer: playing a session up to a moment, and gathering all that there is to say."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime, tzinfo
from difflib import get_close_matches
from pathlib import Path
from typing import Final

from bridge.engine import Engine
from bridge.errors import DecodeError
from bridge.events import (
    AccessoryOrdered,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    Event,
    Instant,
    Position,
)
from bridge.layout.findings import either
from bridge.layout.model import OFF, ON, Layout
from bridge.layout.units import percent_text
from bridge.logic.device import STILLED
from bridge.logic.known import BLOCK, BUTTON, ENTERED, NUMBER, ORDERED, PROVED, RUN, TOGGLED, Key
from bridge.logic.rests import Lack, Rest
from bridge.record.following import Opened, Player, open_session
from bridge.record.parse import LAST_INSTANT
from bridge.record.parts import find_snapshot
from bridge.record.times import Moment, instants
from bridge.record.why.answer import Answer, Blame, Kind, Link, Needed, When
from bridge.record.why.chain import Tracer, blames, words_of
from bridge.record.why.lamps import lamps_of
from bridge.record.why.reading import BEFORE, DISTRICT, Clocks, Interest, Read, read_words
from bridge.record.why.rows import devices_of, obeyed_by
from bridge.record.why.search import Found, what_it_needed
from bridge.record.why.watching import Stands, Watched
from bridge.record.words import instant_text

LOCK: Final = "lock "
"""What stands before the number of a turnout where its lock is asked about."""

_TOLD: Final = (ORDERED, PROVED, NUMBER, BLOCK, BUTTON)
"""What a source tells."""

_TEST: Final = ("lamp-test", "")
"""What is told of lamp tests."""

_LACKS: Final = frozenset(
    (
        Kind.WIRING,
        Kind.SOURCE,
        Kind.POWER,
        Kind.SETTLING,
        Kind.NODE,
        Kind.USE,
        Kind.NEVER,
        Kind.DETECTOR,
        Kind.MOVING,
        Kind.FILTER,
        Kind.NOTHING,
    )
)


def why(
    path: Path,
    asked: str,
    moment: Moment | None = None,
    *,
    zone: tzinfo | None = None,
    progress: Callable[[Instant], None] = lambda _at: None,
) -> Answer:
    """Return why something showed what it showed at a moment of a recorded session.

    Args:
        path: the log.
        asked: a device, a zone or a crossing by its name, or `lock 14` for the lock of a turnout.
        moment: when; the end of the session if it is left out.
        zone: of the clock on the wall; this machine's if it is left out.
        progress: called at each step with how far it has come.

    Raises:
        DecodeError: the log cannot be read, there was no such time in it, or nothing is called so; the message says
            what there is.
        LayoutError: the layout file within cannot be driven.
    """
    session = open_session(path)
    name = _named(session.layout, asked)
    (until,) = instants(path, moment, zone=zone)
    watched = _watched(path, session, until, progress)
    player = watched.player
    ended = until is not None and not player.goes_on and until > player.length
    # Of what was not played nothing is known: the answer is about the last moment of which something is.
    at = player.length if until is None or player.lost or ended else until
    asking = _Asking(watched, player.engine, name)
    last = at if player.lost else until
    read = read_words(path, session.header.started, last, player.engine, asking.interest(at), zone)
    answer = asking.answer(str(path), at, read)
    doubt, stood = "", f"{_wall(answer.when)} ({instant_text(at)} after it began)"
    if player.lost:
        asked_for = "its end" if until is None else "that time"
        doubt = f"NOT CERTAIN: the log is damaged before {asked_for}; so it stood at {stood}"
    elif ended and until is not None:
        wanted = Clocks(session.header.started, zone).when(until)
        doubt = f"the log says nothing of {_wall(wanted)}, because it ends at {stood}: so it stood then"
    notes = list(player.notes)
    earlier = ""
    if session.resumes:
        before = session.header.before or "an earlier one"
        notes.append(f"this file goes on from {before}: ask that for what came before")
        earlier = before if answer.since.at == watched.began and not answer.before else ""
    return replace(answer, doubt=doubt, earlier=earlier, notes=tuple(notes))


def _wall(when: When) -> str:
    return f"{datetime.fromisoformat(when.wall):%Y-%m-%d %H:%M:%S}"


def _watched(
    path: Path, session: Opened, until: Instant | None, progress: Callable[[Instant], None]
) -> Watched:
    """Play a session up to a moment, with no more light than is needed to know how it was lit then."""
    known = not session.resumes and session.tells_states
    lit = find_snapshot(path, LAST_INSTANT if until is None else until) if known else None
    if lit is not None:
        watched = Watched(Player(session, light_from=lit), until, progress)
        if watched.player.sound:
            return watched
        session = open_session(path)
    return Watched(Player(session), until, progress)


def _unheard(rest: Rest) -> Iterator[tuple[str, str]]:
    """Yield sort and name of what may be told of under another name: nobody is known to have told of it."""
    subject, name = rest.key[0], str(rest.key[1]).partition("/")[0]
    if subject in (BLOCK, ENTERED) and not rest.source:
        yield BLOCK, name
    elif subject in (BUTTON, TOGGLED, RUN) and not rest.event:
        yield BUTTON, name
    if rest.lack is Lack.POWER:
        yield DISTRICT, rest.about


def _named(layout: Layout, asked: str) -> str:
    """Return how something is called, as the layout file has it."""
    names = [device.name for device in devices_of(layout)]
    names += [zone.name for zone in layout.zones]
    names += [crossing.name for crossing in layout.crossings]
    names += [STILLED] if layout.still is not None else []
    names += [f"{LOCK}{number}" for number in _lockable(layout)]
    if asked in names:
        return asked
    alike = [name for name in names if name.casefold() == asked.strip().casefold()]
    if len(alike) == 1:
        return alike[0]
    if asked.startswith(LOCK):
        numbers = ", ".join(map(str, _lockable(layout))) or "none"
        raise DecodeError(
            f"no route locks the turnout {asked.removeprefix(LOCK)!r}; turnouts with a lock: {numbers}"
        )
    _look_whether_told(layout, asked.strip(), names)
    folded = {name.casefold(): name for name in names}
    near = [folded[each] for each in get_close_matches(asked.casefold(), folded, n=5, cutoff=0.4)]
    which = f"did you mean {either(near)}?" if near else f"there are {', '.join(names[:12])}"
    more = " ..." if not near and len(names) > 12 else ""
    raise DecodeError(f"nothing in {layout.name} is called {asked!r}: {which}{more}", received=asked)


def _look_whether_told(layout: Layout, asked: str, names: list[str]) -> None:
    """Refuse what is only told of, a block, an accessory or a button, and say what goes by it."""
    what = "button"
    event: Event = ButtonReported(at=0, source="", name=asked, state=ButtonState.PRESSED)
    if any(block.name == asked for block in layout.blocks):
        what, event = "block", BlockReported(at=0, source="", name=asked, state=BlockState.CLEAR)
    elif asked.isascii() and asked.isdigit() and len(asked) <= 4:
        what, number = "accessory", int(asked)
        event = AccessoryOrdered(at=0, source="", number=number, position=Position.NORMAL)
    going = [name for name in (*Engine(layout).listeners(event), f"{LOCK}{asked}") if name in names]
    if going:
        raise DecodeError(
            f"{what} {asked} shows nothing itself: ask for what goes by it, {either(going)}", received=asked
        )


def _lockable(layout: Layout) -> list[int]:
    routes = [route for signal in layout.signals for route in signal.routes]
    return sorted({number for route in routes for number, _position in (*route.turnouts, *route.flank)})


class _Asking:
    """One question, in the state in which an engine has come to its moment."""

    def __init__(self, watched: Watched, engine: Engine, name: str) -> None:
        self._watched, self._engine, self._name = watched, engine, name
        self._lock = name.removeprefix(LOCK) if name.startswith(LOCK) else ""
        self._roots = self._holders() if self._lock else [name]

    def _holders(self) -> list[str]:
        """Return the signals whose routes lock a turnout."""
        number = int(self._lock)
        routes = {
            each.name: {route.name: route for route in each.routes} for each in self._engine.layout.signals
        }
        held = [(signal, routes[signal][route]) for signal, route, _state in self._engine.locks()]
        return [
            signal
            for signal, route in held
            if any(each == number for each, _position in (*route.turnouts, *route.flank))
        ]

    def _stands(self) -> Stands:
        stands = self._watched.stands(self._name)
        if self._lock:
            stands = self._watched.told.get(("lock", self._lock))
        if stands is None and not self._lock:
            choice = self._engine.asked.state_of(self._name)
            stands = Stands(choice.aspect, choice.reason, 0, "", 0, choice.causes)
        return stands or Stands("free", "no route needs it", 0, "", 0)

    def _over(self) -> list[str]:
        """Return what lies over the light of the device: its zone, and what stills all flashing."""
        layout = self._engine.layout
        zones = [each.zone for each in devices_of(layout) if each.name == self._name]
        still = [STILLED] if layout.still is not None and zones else []
        return [*filter(None, zones), *still]

    def interest(self, at: Instant) -> Interest:
        """Return what is wanted of the log: the events, and the instants to be told by both clocks."""
        tracer = Tracer(self._engine, self._watched, {}, {})
        numbers: set[int] = set(self._stands().causes)
        devices: dict[str, None] = {}
        for root in (*self._roots, *self._over()):
            numbers |= tracer.numbers(root)
            devices |= tracer.seen
        stands = self._stands()
        known = [stands, *filter(None, map(self._watched.stands, devices))]
        whens = {instant for each in known for instant in (each.since, each.reason_since)} | {at}
        holds = [self._engine.asked.hold(each) for each in devices]
        test = self._watched.told.get(_TEST)
        whens |= {test.since} if test is not None else set()
        whens |= {hold.due for hold in holds if hold is not None and hold.due is not None}
        asked = self._engine.asked
        rests: dict[Key, Rest] = {}
        since: dict[Key, Instant] = {}
        names: dict[str, dict[str, Instant]] = {BLOCK: {}, BUTTON: {}, DISTRICT: {}}
        for device in devices:
            stood = self._watched.stands(device)
            for rest in asked.rests_on(device):
                rests[rest.key] = rest
                begun = 0 if stood is None else stood.since - BEFORE
                since[rest.key] = min(begun, since.get(rest.key, begun))
                for sort, name in _unheard(rest):
                    names[sort][name] = min(begun, names[sort].get(name, begun))
        told = [rest for key, rest in rests.items() if key[0] in _TOLD]
        sources = {rest.source for rest in told}
        return Interest(
            numbers=frozenset(numbers),
            instants=frozenset(whens),
            rests={key: rest.event for key, rest in rests.items()},
            did=frozenset(event for device in devices for event in asked.state_of(device).causes),
            obeys=frozenset(key for device in devices for key in obeyed_by(self._engine.layout, device)),
            since=since,
            names=names,
            sources=None if "" in sources else frozenset(sources),
            until=at,
        )

    def answer(self, file: str, at: Instant, read: Read) -> Answer:
        """Return the answer, with the words that were read from the log."""
        engine, stands = self._engine, self._stands()
        tracer = Tracer(engine, self._watched, read.cited, read.whens)
        chain = self._locked(tracer, stands, read.whens) if self._lock else tracer.trace(self._name)
        over = tuple(self._lying_over(tracer, each, chain.state) for each in self._over())
        if self._name in engine.tested():
            over += (self._test(read.whens),)
        hiding = [_blame(each) for each in over if each.kind is not Kind.TOLD]
        causes = (*hiding, *blames(chain))
        found = Found((), (), ()) if self._lock else what_it_needed(engine, self._name)
        frames = engine.present_frames()
        return Answer(
            file=file,
            layout=engine.layout.name,
            device=self._name,
            subject="lock" if self._lock else tracer.subject(self._name),
            when=read.whens[at],
            aspect=stands.state if self._lock else chain.state,
            reason=stands.reason if self._lock else chain.reason,
            since=read.whens[stands.since],
            before=stands.before,
            reason_since=read.whens[stands.reason_since],
            chain=chain,
            causes=causes,
            missing=tuple(dict.fromkeys(_missing(chain))),
            passed_over=tuple(read.passed),
            needed=tuple(map(self._in_words, found.needed)),
            impossible=found.impossible,
            lamps=() if self._lock else lamps_of(engine.layout, self._name, frames),
            moving=not any(each.kind is Kind.STILLED for each in over)
            and _moves(engine.layout, self._name, chain.state),
            over=over,
        )

    def _locked(self, tracer: Tracer, stands: Stands, whens: Mapping[Instant, When]) -> Link:
        held = tuple(replace(tracer.trace(root), kind=Kind.LOCKED) for root in self._roots)
        since = whens[stands.since]
        return Link(Kind.SHOWS, "lock", self._lock, stands.state, stands.reason, since, below=held)

    def _in_words(self, needed: Needed) -> Needed:
        """Return what was needed with the level of a zone as its owner writes it."""
        zone = any(each.name == self._name for each in self._engine.layout.zones)
        return replace(needed, aspect=percent_text(int(needed.aspect))) if zone else needed

    def _test(self, whens: Mapping[Instant, When]) -> Link:
        stands = self._watched.told.get(_TEST)
        since = None if stands is None else whens.get(stands.since)
        reason = "" if stands is None else stands.reason
        return Link(
            Kind.TESTED, "lamp test", "lamp-test", "" if stands is None else stands.state, reason, since
        )

    def _lying_over(self, tracer: Tracer, name: str, aspect: str) -> Link:
        link = tracer.trace(name)
        layout = self._engine.layout
        if name == STILLED:
            stilled = link.state == ON and _moves(layout, self._name, aspect)
            return replace(link, kind=Kind.STILLED if stilled else Kind.TOLD)
        return replace(link, kind=Kind.DIMMED if link.state == "0%" else Kind.TOLD)


def _moves(layout: Layout, name: str, aspect: str) -> bool:
    """Return whether a device flashes, or plays an effect, while it shows an aspect."""
    rows = [row for each in layout.signals if each.name == name for row in each.aspects]
    flashes = any(
        shown.flashing or shown.alternating
        for row in rows
        if row.name == aspect
        for _head, lamps in row.heads
        for shown in lamps
    )
    effect = any(each.name == name and each.effect is not None for each in layout.lights)
    return flashes or (effect and aspect != OFF)


def _blame(link: Link) -> Blame:
    return Blame(link.kind, link.name, words_of(link), 0 if link.event is None else link.event.number)


def _missing(link: Link) -> list[Link]:
    found = [replace(link, below=())] if link.kind in _LACKS else []
    return found + [each for below in link.below for each in _missing(below)]
