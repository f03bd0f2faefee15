"""What has happened since the start, counted and kept for the page, and told to the world."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterable
from typing import Final

from bridge.commands import Command, Decision, Note, PublishFrame, Report, Told
from bridge.service.lamp_tests import NONE_YET, note_test
from bridge.service.lamp_tests import SUBJECT as LAMP_TEST
from bridge.service.notes import Notes
from bridge.service.status import Status

MASTERS: Final = frozenset({"zone", "still"})
"""What is over several devices, as it is told of."""


class Tally:
    """Counts, and what was told last.

    Attributes:
        counts: events, refused, frames and changes since the start.
        since: wall time at which each device was given its present aspect, and each master its state.
        masters: what was told last of each zone and of the switch that stills all flashing, by `zone/name`.
        lamp_test: what was told last of lamp tests.
    """

    def __init__(self, status: Status, notes: Notes) -> None:
        self.counts: Counter[str] = Counter(events=0, refused=0, frames=0, changes=0)
        self.since: dict[str, str] = {}
        self.masters: dict[str, Told] = {}
        self.lamp_test = NONE_YET
        self._status = status
        self._notes = notes

    def take(self, commands: Iterable[Command]) -> None:
        """Count what was done, and tell the world of it."""
        any_at_all = False
        for command in commands:
            any_at_all = True
            match command:
                case PublishFrame():
                    self.counts["frames"] += 1
                case Report():
                    self._status.report(command)
                case Told():
                    self._status.report(command)
                    self._told(command)
                case Decision() if command.before != command.aspect:
                    self.counts["changes"] += 1
                    self.since[command.device] = time.strftime("%H:%M:%S")
                case Note():
                    self.counts["repeats"] += 1
        if any_at_all:
            self._status.tell_counts()

    def _told(self, told: Told) -> None:
        if told.subject == LAMP_TEST:
            self.lamp_test = told
            note_test(told, self._notes)
        elif told.subject in MASTERS:
            key = f"{told.subject}/{told.name}"
            before = self.masters.get(key)
            if before is not None and before.state != told.state:
                self.since[key] = time.strftime("%H:%M:%S")
            self.masters[key] = told
