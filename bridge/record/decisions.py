"""Replaying the decisions of a session alone: no light is worked out, so a long log takes a fraction of the time."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from bridge.commands import Decision
from bridge.events import Event, Instant
from bridge.logic.deciding import Deciding
from bridge.logic.reasons import Outcome
from bridge.record.beside import replay_beside
from bridge.record.following import Follower, Opened, Stood, open_session
from bridge.record.lines import End, Input
from bridge.record.parts import Part
from bridge.record.result import Difference, ReplayResult
from bridge.record.words import event_text

_PASSING: Final = tuple(f'{{"{kind}":'.encode() for kind in ("frame", "rendered", "told", "note", "refused"))
"""Lines that say nothing of decisions."""


def replay_decisions(
    path: Path,
    layout_text: str | None = None,
    *,
    since: Instant = 0,
    until: Instant | None = None,
    progress: Callable[[Instant], None] = lambda _at: None,
) -> ReplayResult:
    """Replay a log and compare what was decided: by which device, when, for which aspect and for which events.

    Lines about light are not looked at. Args and errors are those of `bridge.record.replay.replay`.

    Returns:
        No frames, no instants and no digest; the rest as of a replay.
    """
    session = open_session(path, layout_text, since=since, passing=_PASSING)
    whole = None if until is not None else replay_beside(session, _replay_part, progress)
    if whole is not None:
        return whole
    replaying = _Decisions(session)
    replaying.run(until, progress)
    return replaying.result()


def _replay_part(part: Part, progress: Callable[[Instant], None]) -> ReplayResult:
    replaying = _Decisions(open_session(part.begin.file, part=part, passing=_PASSING))
    replaying.run(None, progress)
    return replaying.result()


class _Core:
    """The logic of a session, which can be followed from any snapshot."""

    def __init__(self, session: Opened) -> None:
        self._layout = session.layout
        self.begin(Deciding(session.layout))

    def begin(self, deciding: Deciding) -> None:
        self.deciding = deciding
        self.shown = [choice.aspect for choice in deciding.board.choices]
        self.names = [device.name for device in deciding.board.devices]

    def snapshot(self) -> dict[str, Any]:
        state = self.deciding.snapshot()
        del state["now"]  # of the instants that were only rendered nobody tells here
        return state

    def restore(self, data: dict[str, Any]) -> None:
        deciding = Deciding(self._layout)
        deciding.restore(data)
        self.begin(deciding)


class _Decisions:
    """The logic of a session, and what it decided that the log has yet to show."""

    def __init__(self, session: Opened) -> None:
        self._session = session
        self._core = _Core(session)
        self._follower = Follower(session, self._core, self._advance)
        self._made: deque[Decision] = deque()
        self._difference: Difference | None = None
        self._cause: Event | None = None
        self._last: Instant = 0
        self._handled = self._decisions = 0
        self._ended = False

    def run(self, until: Instant | None, progress: Callable[[Instant], None]) -> None:
        """Take all lines up to an instant."""
        for placed, line in self._follower.lines(until):
            try:
                self._line(placed.number, line)
            except Exception as error:  # noqa: BLE001 - the follower knows which of them the log may be to blame for
                self._follower.failed(placed, error)
            progress(self._last)

    def result(self) -> ReplayResult:
        """Return what came of it."""
        return ReplayResult(
            file=str(self._session.path),
            layout=self._session.layout.name,
            started=self._session.header.started,
            events=self._core.deciding.events,
            skipped=self._core.deciding.events - self._handled,
            refused=0,
            decisions=self._decisions,
            frames=0,
            instants=0,
            length=self._last,
            ended=self._ended,
            goes_on=self._follower.goes_on,
            digest="",
            gaps=self._follower.gaps,
            difference=self._difference,
            notes=tuple(self._follower.notes),
        )

    def _line(self, number: int, line: object) -> None:
        match line:
            case Decision():
                self._decided(number, line)
            case Input():
                self._nothing_missing(number)
                self._input(number, line)
            case Stood():
                self._last = max(self._last, line.snapshot.at)
                if line.resumed:
                    self._made.clear()
                    return
                self._nothing_missing(number)
                if not line.same:
                    self._differs(
                        number, line.snapshot.at, "the state is not the one that the log has at its snapshot"
                    )
            case End():
                self._nothing_missing(number)
                if line.events != self._core.deciding.events:
                    what = (
                        f"the session had {line.events} events, and the log has {self._core.deciding.events}"
                    )
                    self._differs(number, line.at, f"{what}: some are missing")
                self._last, self._ended = max(self._last, line.at), True

    def _input(self, number: int, line: Input) -> None:
        deciding = self._core.deciding
        if line.number != deciding.events + 1:
            what = f"the log goes on with event {line.number} where {deciding.events + 1} is next"
            self._differs(number, line.at, what)
        for event in line.events:
            self._advance(event.at)
            outcome = deciding.hear(event).outcome
            self._handled += 1
            self._cause = event
            if outcome is not None:
                self._take(outcome, event.at, (deciding.events,))
        self._last = max(self._last, line.at)

    def _advance(self, until: Instant) -> None:
        deciding = self._core.deciding
        while (due := deciding.board.next_due()) is not None and due <= until:
            self._take(deciding.perform(due), max(due, deciding.now), ())
        deciding.now = max(until, deciding.now)

    def _take(self, outcome: Outcome, at: Instant, causes: tuple[int, ...]) -> None:
        shown, names = self._core.shown, self._core.names
        for index, choice in outcome.choices:
            before, aspect = shown[index], choice.aspect
            shown[index] = aspect
            known = choice.causes or (causes if before != aspect else ())
            self._made.append(Decision(at, names[index], before, aspect, choice.reason, known))

    def _decided(self, number: int, line: Decision) -> None:
        self._decisions += 1
        self._last = max(self._last, line.at)
        if not self._made and line.at > self._core.deciding.now:
            self._advance(line.at)
        made = self._made.popleft() if self._made else None
        # Another reason is none for a signal: a newer lamproom may say it better.
        if made != line and (made is None or made._replace(reason=line.reason) != line):
            what = f"the log has {_words(line)}, and the replay has {'not' if made is None else _words(made)}"
            self._differs(number, line.at, what)

    def _nothing_missing(self, number: int) -> None:
        if self._made:
            made = self._made[0]
            self._differs(number, made.at, f"the log lacks {_words(made)}, which the replay has")

    def _differs(self, line: int, at: Instant, what: str) -> None:
        self._made.clear()
        if self._difference is None:
            event = self._core.deciding.events
            cause = "" if self._cause is None else event_text(self._cause)
            self._difference = Difference(line, at, what, event=event, cause=cause)


def _words(made: Decision) -> str:
    return f"the decision that {made.device} goes from {made.before} to {made.aspect} ({made.reason})"
