"""Cutting a session down to the few events that lead to a wrong aspect.

What is looked for is an aspect *for a reason*. Without the reason a cut session would soon show the same aspect as it
may: a signal that was cleared wrongly once has been cleared rightly a hundred times.

The first cuts are guesses that are tried and never trusted: what came later, what the device's choice does not rest on,
whole subjects. What is left is minimal by delta debugging (`bridge.record.reduce`), and then its waits are shortened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeAlias

import bridge
from bridge.errors import DecodeError, EngineError
from bridge.events import MILLISECOND, SECOND, Event, Instant, NodeReported, SourceReported
from bridge.layout.findings import either
from bridge.layout.model import Layout
from bridge.layout.units import seconds
from bridge.logic.deciding import Deciding
from bridge.logic.reasons import Choice, Outcome
from bridge.record.cases import Case, Session, agreeing, aspects_of, shown_after, wish
from bridge.record.following import Opened, open_session
from bridge.record.lines import End, Input, Lost, Rendered
from bridge.record.plain import subject_of
from bridge.record.reader import Broken
from bridge.record.reduce import ddmin, ddmin_groups
from bridge.record.store import first_name
from bridge.record.words import event_text, instant_text

OFFERED: Final = 5
"""Events that a message offers."""

_WAITS: Final = tuple(
    length * SECOND for length in (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200)
)
_SHORT_WAITS: Final = (100 * MILLISECOND, 10 * MILLISECOND, MILLISECOND)
_LONG: Final = 600 * SECOND
"""Longer than the timers of most layouts. A wait that is shorter stays as it was, unless there is a mended layout to
judge by: a signal that is locked for too long is locked rightly at first."""


@dataclass(frozen=True, slots=True)
class Wrong:
    """What an owner has seen that should not have been.

    Attributes:
        device: its name.
        should: the aspect that it should have shown, or `not` and the one that it should not.
        showed: what it showed, where it showed several that are wrong; or empty.
        since: it was after this.
        until: it was before this; None for the end of the session.
        because: numbers of events that should have made a difference: they are never cut.
    """

    device: str
    should: str
    showed: str = ""
    since: Instant = 0
    until: Instant | None = None
    because: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Kept:
    """What came of cutting a session.

    Attributes:
        case: what is left.
        before: how many events there were until the device showed it.
        trials: how many cut sessions were played.
        notes: what an owner should know.
    """

    case: Case
    before: int
    trials: int
    notes: tuple[str, ...]

    def to_data(self) -> dict[str, Any]:
        """Return what may be of use to another program, as plain data for JSON."""
        case = self.case
        return {
            "device": case.device,
            "should": case.should,
            "showed": case.showed,
            "because": case.because,
            "before": self.before,
            "after": len(case.events),
            "trials": self.trials,
            "notes": list(self.notes),
        }


def kept_lines(kept: Kept) -> list[str]:
    """Return what is left of a session, a sentence a line."""
    case = kept.case
    since = "" if case.session is None else f" from {case.session.at}"
    lines = [f"{case.device} showed {case.showed}{since}: {case.because}; it should {wish(case.should)}"]
    lines += [f"  {seconds(event.at)}: {event_text(event)}" for event in case.events]
    lines.append(f"  {seconds(case.look)}: {case.device} shows {case.showed}")
    return [*lines, *(f"note: {note}" for note in kept.notes)]


class _Stretch(NamedTuple):
    """A device showed something for one reason."""

    since: Instant
    until: Instant
    choice: Choice


@dataclass(frozen=True, slots=True)
class _Read:
    """A session as far as it matters here."""

    layout: Layout
    events: list[Event]
    length: Instant
    began: str
    notes: list[str]


def keep(
    path: Path,
    wrong: Wrong,
    note: str = "",
    *,
    present: Layout | None = None,
    progress: Callable[[Instant], None] = lambda _at: None,
    tried: Callable[[int], None] = lambda _count: None,
) -> Kept:
    """Cut a session to the events that lead to a wrong aspect.

    Args:
        path: the log.
        wrong: what was wrong.
        note: what its owner has to say about it.
        present: the layout as it is by now. If it shows what it should in this session, it is mended, and the case is
            cut so that it goes on doing so.
        progress: called with how far the log was read.
        tried: called with how many cut sessions were played.

    Raises:
        DecodeError: the log cannot be read, or what is said of it does not hold; the message says what does.
        LayoutError: the layout file within cannot be driven.
    """
    session = _read(open_session(path), progress)
    agrees = agreeing(wrong.should, wrong.device, aspects_of(session.layout, wrong.device))
    if wrong.since > session.length:
        raise DecodeError(
            f"{path}: the session ended before that, at {instant_text(session.length)}; look at --from"
        )
    since = max((wrong.since, *(_came_at(session.events, number) for number in wrong.because)))
    if wrong.until is not None and wrong.until < since:
        raise DecodeError(
            "no time lies between --from, or what --because names, and --to: --to has to be later"
        )
    within = [
        each
        for each in _stretches(session, wrong.device)
        if each.until > since and (wrong.until is None or each.since <= wrong.until)
    ]
    stretch = _chosen(within, wrong, agrees)
    look = max(stretch.since, since)
    came = [_Came(*each) for each in enumerate(session.events, start=1) if each[1].at <= look]
    before = len(came)
    cutting = Cutting(session.layout, wrong.device, stretch.choice, tried)
    cutting.hold(came, wrong.because)
    mended = present is not None and cutting.compare(present, agrees, came, look)
    came, look = cutting.cut(came, look)
    if not came:
        raise DecodeError(_nothing_needed(session.events, wrong, stretch))
    notes = session.notes
    if mended:
        notes.append(
            "the layout file as it is by now shows what it should there, and by what is left as well"
        )
    else:
        notes.append(
            f"if these events alone are no reason to {wish(wrong.should)}, name with --because what should have made "
            "the difference, or mend the layout file first and then keep it again"
        )
    origin = Session(path.name, session.began, instant_text(stretch.since), before, bridge.__version__)
    case = Case(
        device=wrong.device,
        should=wrong.should,
        events=tuple(each.event for each in came),
        look=look,
        showed=stretch.choice.aspect,
        because=stretch.choice.reason,
        note=note,
        session=origin,
    )
    return Kept(case, before, cutting.trials, tuple(notes))


def _read(opened: Opened, progress: Callable[[Instant], None]) -> _Read:
    if opened.resumes:
        first = first_name(opened.header.before, opened.header.piece)
        raise DecodeError(
            f"{opened.path}: this file begins in the middle of its session, which began in {first}: "
            "name the first file, so that nothing is missing that led to it"
        )
    found = _Read(opened.layout, [], 0, opened.header.started, [])
    length = 0
    for placed in opened.lines:
        match placed.line:
            case Input(events=events):
                found.events.extend(map(_clean, events))
                length = max(length, placed.line.at)
                progress(length)
            case Rendered(instants=instants) if instants:
                length = max(length, instants[-1])
            case End(at=at):
                length = max(length, at)
            case Lost() | Broken():
                found.notes.append(f"line {placed.number} of {placed.file.name}: something is missing there")
    return replace(found, length=length)


def _clean(event: Event) -> Event:
    """Leave out of a source's own words what cannot be written down as text."""
    if isinstance(event, SourceReported | NodeReported) and not event.why.isprintable():
        return replace(event, why="".join(filter(str.isprintable, event.why)))
    return event


def _came_at(events: Sequence[Event], number: int) -> Instant:
    if not 1 <= number <= len(events):
        raise DecodeError(f"there is no event #{number}: the last one has the number {len(events)}")
    return events[number - 1].at


def _stretches(session: _Read, device: str) -> list[_Stretch]:
    """Return what a device showed, from the start to the end of a session."""
    deciding = Deciding(session.layout)
    changes = [(0, deciding.shown(device))]

    def look() -> None:
        shown = deciding.shown(device)
        if shown[:2] != changes[-1][1][:2]:
            changes.append((deciding.now, shown))

    def run(until: Instant) -> None:
        while (due := deciding.board.next_due()) is not None and due <= until:
            deciding.advance(max(due, deciding.now))
            look()

    for event in session.events:
        run(event.at)
        deciding.handle(event)
        look()
    run(session.length)
    # The end is shown as well, also where the session ends in the same instant.
    changes.append((max(session.length, deciding.now) + 1, changes[-1][1]))
    return [_Stretch(at, until, choice) for (at, choice), (until, _next) in pairwise(changes) if until > at]


def _chosen(within: Sequence[_Stretch], wrong: Wrong, agrees: Callable[[str], bool]) -> _Stretch:
    """Return the first stretch that is wrong."""
    wrongly = [each for each in within if not agrees(each.choice.aspect)]
    showed = list(dict.fromkeys(each.choice.aspect for each in within))
    if wrong.showed:
        wrongly = [each for each in wrongly if each.choice.aspect == wrong.showed]
    if not wrongly:
        what = (
            f"never showed {wrong.showed}"
            if wrong.showed
            else f"showed nothing but what it should ({wish(wrong.should)})"
        )
        seen = f": it showed {' and '.join(showed)}" if showed else ""
        raise DecodeError(f"in that time {wrong.device} {what}{seen}; look at --from, --to and --should")
    aspects = list(dict.fromkeys(each.choice.aspect for each in wrongly))
    if len(aspects) > 1:
        when = "; ".join(
            f"{aspect} from {instant_text(next(each.since for each in wrongly if each.choice.aspect == aspect))}"
            for aspect in aspects
        )
        raise DecodeError(
            f"in that time {wrong.device} showed several aspects that are not {wrong.should} ({when}): "
            f"say which was wrong, with --showed {either(aspects)}, or say the time more closely"
        )
    return wrongly[0]


def _nothing_needed(events: Sequence[Event], wrong: Wrong, stretch: _Stretch) -> str:
    """Say that the device shows it from the start on, and what may have been meant to change that."""
    until = stretch.until if wrong.until is None else min(stretch.until, wrong.until)
    came = [(number, event) for number, event in enumerate(events, start=1) if event.at <= until]
    offered = "; ".join(
        f"#{number} at {instant_text(event.at)}: {event_text(event)}" for number, event in came[-OFFERED:]
    )
    return (
        f"{wrong.device} shows {stretch.choice.aspect} without any event as well ({stretch.choice.reason}), so the log "
        "does not tell what should have changed that: name it with --because. "
        + (f"The last that came: {offered}" if offered else "But nothing came before that")
    )


_Effect: TypeAlias = tuple[str, str, str]


class _Came(NamedTuple):
    """An event with the number that it had in its session."""

    number: int
    event: Event


class Cutting:
    """Cuts what leads to one choice of one device.

    Attributes:
        trials: how many cut sessions were played.
    """

    def __init__(
        self,
        layout: Layout,
        device: str,
        choice: Choice,
        tried: Callable[[int], None] = lambda _count: None,
    ) -> None:
        self.trials = 0
        self._tried = tried
        self._layout = layout
        self._device = device
        self._choice = choice
        self._effects: dict[int, frozenset[_Effect]] = {}
        self._mended: tuple[Layout, Callable[[str], bool]] | None = None

    def hold(self, came: Sequence[_Came], numbers: Iterable[int]) -> None:
        """Never cut certain events, nor what they need to have the effect that they have."""
        wanted = frozenset(numbers)
        deciding = Deciding(self._layout)
        for number, event in came if wanted else ():
            heard = deciding.handle(event)
            if number in wanted:
                self._effects[number] = _effects(heard.outcome)

    def compare(
        self, mended: Layout, agrees: Callable[[str], bool], came: Sequence[_Came], look: Instant
    ) -> bool:
        """Cut only so far that a mended layout shows what it should; return whether it does by all events."""
        self._mended = mended, agrees
        try:
            if self.shows(came, look):
                return True
        except KeyError:
            pass  # it has no such device
        self._mended = None
        return False

    def shows(self, came: Sequence[_Came], look: Instant) -> bool:
        """Whether the device comes to the same choice by these events, and what is held has its effects."""
        self.trials += 1
        self._tried(self.trials)
        deciding = Deciding(self._layout)
        try:
            for number, event in came:
                outcome = deciding.handle(event).outcome
                if number in self._effects and not self._effects[number] <= _effects(outcome):
                    return False
            deciding.advance(look)
            shown = deciding.shown(self._device)
            if (shown.aspect, shown.reason) != (self._choice.aspect, self._choice.reason):
                return False
            if self._mended is None:
                return True
            layout, agrees = self._mended
            return agrees(shown_after(layout, self._device, [event for _number, event in came], look).aspect)
        except EngineError:
            return False

    def cut(self, came: list[_Came], look: Instant) -> tuple[list[_Came], Instant]:
        """Return what is needed of events, in short waits, and when to look."""
        left = self._guessed(came, look)
        length = -1
        while length != len(left):  # with shorter waits even less may do
            length = len(left)
            left = self._by(ddmin, left, look)
            left, look = self._shortened(left, look)
        return left, look

    def _guessed(self, came: list[_Came], look: Instant) -> list[_Came]:
        """Return what the choice rests on, or else all that is about something that matters."""
        wanted = frozenset(self._effects).union(self._choice.causes)
        rests_on = [each for each in came if each.number in wanted]
        if self.shows(rests_on, look):
            return rests_on
        return self._by(lambda free, fails: ddmin_groups(free, _subject, fails), came, look)

    def _by(self, reduce: _Reduce, came: list[_Came], look: Instant) -> list[_Came]:
        """Reduce events, and leave among them those that must stay."""

        def whole(part: list[_Came]) -> list[_Came]:
            wanted = frozenset(self._effects).union(each.number for each in part)
            return [each for each in came if each.number in wanted]

        free = [each for each in came if each.number not in self._effects]
        return whole(reduce(free, lambda part: self.shows(whole(part), look)))

    def _shortened(self, came: list[_Came], look: Instant) -> tuple[list[_Came], Instant]:
        """Return events with waits that are as short, and as plain, as they can be."""
        if not came:
            return came, look
        instants = [*(each.event.at for each in came), look]
        # The time since the start matters only where something goes by it.
        waits = [0, *(later - before for before, later in pairwise(instants))]
        if not self.shows(*_moved(came, waits)):
            waits[0] = instants[0]
        for index, wait in enumerate(waits):
            plainer = _plainer(wait) if self._mended else _calmer(wait)
            tried = ([*waits[:index], each, *waits[index + 1 :]] for each in plainer)
            waits = next((each for each in tried if self.shows(*_moved(came, each))), waits)
        return _moved(came, waits)


_Reduce: TypeAlias = Callable[[list[_Came], Callable[[list[_Came]], bool]], list[_Came]]


def _subject(came: _Came) -> tuple[object, ...]:
    return subject_of(came.event)


def _moved(came: Sequence[_Came], waits: Sequence[int]) -> tuple[list[_Came], Instant]:
    """Return events after new waits, and when to look."""
    *instants, look = accumulate(waits)
    moved = [each._replace(event=replace(each.event, at=at)) for each, at in zip(came, instants, strict=True)]
    return moved, look


def _plainer(wait: int) -> list[int]:
    """Return what a wait may become, the best first: shorter ones, then itself rounded."""
    shorter = [each for each in _WAITS if each < wait] or [each for each in _SHORT_WAITS if each < wait]
    rounded = [up * unit for unit in (SECOND, *_SHORT_WAITS) for up in (-(-wait // unit), wait // unit)]
    return [each for each in dict.fromkeys((*shorter, *rounded)) if 0 < each != wait]


def _calmer(wait: int) -> list[int]:
    """Return what a wait may become where nobody can tell whether a timer should have run out in it."""
    if wait > _LONG:
        return [_LONG]
    return [wait // MILLISECOND * MILLISECOND] if wait % MILLISECOND else []


def _effects(outcome: Outcome | None) -> frozenset[_Effect]:
    """Return what came of an event, without the reasons."""
    if outcome is None:
        return frozenset()
    choices = {("device", str(index), choice.aspect) for index, choice in outcome.choices}
    return frozenset(choices | {(word.subject, word.name, word.state) for word in outcome.words})
