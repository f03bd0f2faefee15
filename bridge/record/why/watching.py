"""Following a session for what every device shows, and since when."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from bridge.commands import Command, Decision, Report, Told
from bridge.errors import DecodeError
from bridge.events import Instant
from bridge.record.following import Player


@dataclass(slots=True)
class Stands:
    """How a device, or something beside devices, stands.

    Attributes:
        state: what it shows.
        reason: why.
        since: when it began to show that.
        before: what it showed before that, or empty.
        reason_since: when it began to do so for this reason.
        causes: numbers of the events that it rests on.
    """

    state: str
    reason: str
    since: Instant
    before: str
    reason_since: Instant
    causes: tuple[int, ...] = ()


class Watched:
    """What has been seen of a session.

    Attributes:
        player: it has come to the last line before the moment.
        devices: how each device stands.
        began: when what was seen of it began.
        told: how whatever else there is to tell of stands, by its subject and name.
    """

    def __init__(self, player: Player, until: Instant | None, progress: Callable[[Instant], None]) -> None:
        """Play a session up to a moment.

        Raises:
            DecodeError: nothing of it can be played.
        """
        self.player = player
        self.devices: dict[str, Stands] = {}
        self.told: dict[tuple[str, str], Stands] = {}
        self.began: Instant = 0
        some, resumed = False, 0
        for step in player.steps(until, closing=False):
            self.began = self.began if some else step.at
            some = True
            if player.resumed > resumed:
                resumed = player.resumed
                self._resume(step.at)
            self._take(step.commands)
            if step.event is not None or step.commands:
                self._look(step.at)
            progress(step.at)
        if not some:
            raise DecodeError(f"nothing of this session can be played: {'; '.join(player.notes)}")

    def _resume(self, at: Instant) -> None:
        """Take how all devices stand from the engine: it has gone on at a snapshot."""
        for name, choice in self.player.engine.choices().items():
            known = self.devices.get(name)
            if known is None or known.state != choice.aspect:
                self._set(self.devices, name, (choice.aspect, choice.reason, choice.causes), at)

    def _look(self, at: Instant) -> None:
        """Look at the crossings, of which nothing is told but where their gates are."""
        engine = self.player.engine
        for crossing in engine.layout.crossings:
            choice = engine.asked.state_of(crossing.name)
            key = ("crossing", crossing.name)
            known = self.told.get(key)
            if known is None or (known.state, known.reason) != (choice.aspect, choice.reason):
                self._set(self.told, key, (choice.aspect, choice.reason, choice.causes), at)

    def _take(self, commands: Iterable[Command]) -> None:
        for command in commands:
            match command:
                case Decision():
                    said = command.aspect, command.reason, command.causes
                    self._set(self.devices, command.device, said, command.at)
                case Report():
                    known = self.devices.get(command.device)
                    if known is None or (known.state, known.reason) != (command.aspect, command.reason):
                        self._set(
                            self.devices, command.device, (command.aspect, command.reason, ()), command.at
                        )
                case Told():
                    said = command.state, command.reason, command.causes
                    self._set(self.told, (command.subject, command.name), said, command.at)
                case _:
                    pass

    @staticmethod
    def _set(where: dict[Any, Stands], key: Any, said: tuple[str, str, tuple[int, ...]], at: Instant) -> None:
        state, reason, causes = said
        known = where.get(key)
        if known is None:
            where[key] = Stands(state, reason, at, "", at, causes)
            return
        if known.state != state:
            known.since, known.before, known.state = at, known.state, state
            known.reason_since = at
        elif known.reason != reason:
            known.reason_since = at
        known.reason, known.causes = reason, causes

    def stands(self, name: str) -> Stands | None:
        """Return how a device, a zone, what stills flashing or a crossing with gates stands, or None if not told."""
        if name in self.devices:
            return self.devices[name]
        return next(
            (
                self.told[key]
                for key in (("crossing", name), ("zone", name), ("still", name))
                if key in self.told
            ),
            None,
        )
