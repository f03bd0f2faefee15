"""Ways to break on purpose what is promised of signals that are told in several ways, each with where it shows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

import pytest

from bridge.events import Authority, ButtonReported, PowerState
from bridge.logic import blocks, device, selection, working_out
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import Fact, Key, Known
from bridge.logic.reasons import Choice
from bridge.logic.selection import News, Step, SteppedButton, Table, Trust
from bridge.logic.track import Track
from tests.support.broken_rules import (
    Break,
    believes_dead_nodes,
    believes_orders,
    copies_the_next,
    delays,
    obeys_the_lost,
    remembers_all,
    trusts_at_once,
)
from tests.support.tracks import CLEAR


def does(table: Table, trust: Trust, news: News, step: Step) -> Break:
    """Let controls of one kind do something else with one kind of news."""

    def broken(patch: pytest.MonkeyPatch) -> None:
        patch.setitem(table, (trust, news), step)

    return broken


def the_better_claim_wins(patch: pytest.MonkeyPatch) -> None:
    """Let the best of several claims count."""
    right = device.most_restrictive
    patch.setattr(device, "most_restrictive", lambda said: right(said[::-1]))


def the_first_claim_wins(patch: pytest.MonkeyPatch) -> None:
    """Let the claim that stands first in the file count."""

    def wish(self: device.Device, known: Known) -> Choice:
        return self.controls[0].choose(known)

    patch.setattr(device.Device, "_wish", wish)


def guesses_the_unknown(patch: pytest.MonkeyPatch) -> None:
    """Let a table pass over the rows of which it is not known whether they fit."""

    def first_fit(rows: Sequence[Any], stands: Any) -> tuple[int | None, working_out.Fit]:
        for place, needs in enumerate(rows):
            found = working_out.fit(needs, stands)
            if found.fits:
                return place, found
        return None, working_out.Fit(False, "", ())

    patch.setattr(working_out, "first_fit", first_fit)


def copies_overwrite(patch: pytest.MonkeyPatch) -> None:
    """Let a kept copy count as much as an order, wherever facts are kept."""
    tell = Known.tell
    patch.setattr(Known, "tell", lambda self, key, fact: tell(self, key, fact._replace(copied=False)))


def settles_at_once(patch: pytest.MonkeyPatch) -> None:
    """Let blocks be believed as soon as the power is on."""
    report = blocks.District.report

    def reported(self: blocks.District, state: PowerState, source: str, at: int, event: int) -> bool:
        changed = report(self, state, source, at, event)
        return self.expire() or changed if state is PowerState.ON else changed

    patch.setattr(blocks.District, "report", reported)


def ignores_power(patch: pytest.MonkeyPatch) -> None:
    """Let blocks be believed whatever the power is."""
    patch.setattr(blocks.Block, "doubt", lambda *_args: False)


def no_conflicts(patch: pytest.MonkeyPatch) -> None:
    """Let no gate ask what the others keep."""
    patch.setattr(Interlocking, "in_the_way", lambda *_args: "")


def steps_by_copies(patch: pytest.MonkeyPatch) -> None:
    """Let a kept copy of a press be a press."""
    meaning = SteppedButton.meaning

    def meant(self: SteppedButton, key: Key, fact: Fact) -> selection.Meaning | None:
        return meaning(self, key, fact._replace(copied=False))

    patch.setattr(SteppedButton, "meaning", meant)
    patch.setitem(selection.PRESSED, (Trust.UNKNOWN, News.COPY), Step.OBEY)


def holds_by_copies(patch: pytest.MonkeyPatch) -> None:
    """Let a button be held that was held when a copy was kept."""
    told = Track._pressed

    def pressed(self: Track, event: ButtonReported, number: int) -> Any:
        return told(self, replace(event, authority=Authority.COMMAND), number)

    patch.setattr(Track, "_pressed", pressed)


def says_no_cause(patch: pytest.MonkeyPatch) -> None:
    """Let nobody say what an aspect rests on."""

    def none(events: Iterable[int]) -> tuple[int, ...]:
        del events
        return ()

    patch.setattr(working_out, "in_order", none)


BROKEN: Final[list[tuple[str, Break]]] = [
    ("command", does(selection.LAST_COMMAND, Trust.UNKNOWN, News.COPY, Step.OBEY)),
    ("command", does(selection.LAST_COMMAND, Trust.TRUSTED, News.COPY, Step.OBEY)),
    ("command", does(selection.LAST_COMMAND, Trust.TRUSTED, News.COMMAND, Step.KEEP)),
    ("command", obeys_the_lost),
    ("command+number", does(selection.LAST_COMMAND, Trust.UNKNOWN, News.COPY, Step.OBEY)),
    ("command+table", the_better_claim_wins),
    ("number+held", the_better_claim_wins),
    ("ahead+latched", the_first_claim_wins),
    ("table+ahead+follows", the_first_claim_wins),
    ("number", does(selection.SWITCHED, Trust.TRUSTED, News.COPY, Step.OBEY)),
    ("number", does(selection.SWITCHED, Trust.TRUSTED, News.LOST, Step.KEEP)),
    ("table", guesses_the_unknown),
    ("table", copies_overwrite),
    ("table", remembers_all),
    ("ahead", remembers_all),
    ("ahead", trusts_at_once),
    ("ahead", copies_the_next),
    ("ahead", believes_orders),
    ("ahead", delays(CLEAR, 0)),
    ("ahead", settles_at_once),
    ("ahead", ignores_power),
    ("ahead", believes_dead_nodes),
    ("follows", believes_dead_nodes),
    ("follows", no_conflicts),
    ("command", no_conflicts),
    ("latched", does(selection.PRESSED, Trust.UNKNOWN, News.COPY, Step.OBEY)),
    ("latched", does(selection.PRESSED, Trust.TRUSTED, News.LOST, Step.KEEP)),
    ("stepped", steps_by_copies),
    ("held", holds_by_copies),
    ("table", says_no_cause),
]
"""A mixture, and what breaks a promise in it."""
