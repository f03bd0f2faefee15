"""How a lamp test begins and ends, as a table: what it does with all that it can hear, wherever it stands."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, TypeAlias

from bridge.events import Word


class Standing(Word):
    """How far a lamp test has come."""

    OFF = "off"  # there is none
    WAITING = "waiting"  # somebody asked for one, and has to confirm it for the next chain
    RUNNING = "running"  # a chain shows it


class Heard(Word):
    """What comes to it."""

    ASKED = "asked"  # somebody wants a test
    ANEW = "anew"  # the asker of this picture wants another one on the same chain
    CONFIRMED = "confirmed"  # this very test, for the very chain that it waits for or runs on
    PASSED = "passed"  # this very chain is to be left
    ENDED = "ended"  # this very test, or any
    ANOTHER = "another"  # one of these three, and it names another test or another chain
    LOST = "lost"  # the source of whoever asked can no longer be heard
    OVER = "over"  # the time for confirming, or for showing, is over


class Step(Word):
    """What it does."""

    ASK = "ask"  # wait for the confirmation of the first chain
    CHANGE = "change"  # take the other picture, for the time that is left
    RUN = "run"  # show it on this chain
    GO_ON = "go on"  # give this chain back; wait for the next one, or end where there is none
    END = "end"  # give this chain back, and that is all
    REFUSE = "refuse"  # say why not
    KEEP = "keep"  # nothing


Table: TypeAlias = Mapping[tuple[Standing, Heard], Step]

LAMP_TEST: Final[Table] = {
    (Standing.OFF, Heard.ASKED): Step.ASK,
    (Standing.OFF, Heard.ANEW): Step.KEEP,
    (Standing.OFF, Heard.CONFIRMED): Step.REFUSE,
    (Standing.OFF, Heard.PASSED): Step.REFUSE,
    # Who wants it quiet has what he wants.
    (Standing.OFF, Heard.ENDED): Step.KEEP,
    # It comes too late, and must confirm nothing that is asked for after it.
    (Standing.OFF, Heard.ANOTHER): Step.REFUSE,
    (Standing.OFF, Heard.LOST): Step.KEEP,
    (Standing.OFF, Heard.OVER): Step.KEEP,
    # Whoever stands before the layout waits for what was said there; nobody else changes it under his eyes.
    (Standing.WAITING, Heard.ASKED): Step.REFUSE,
    (Standing.WAITING, Heard.ANEW): Step.CHANGE,
    (Standing.WAITING, Heard.CONFIRMED): Step.RUN,
    (Standing.WAITING, Heard.PASSED): Step.GO_ON,
    (Standing.WAITING, Heard.ENDED): Step.END,
    (Standing.WAITING, Heard.ANOTHER): Step.REFUSE,
    (Standing.WAITING, Heard.LOST): Step.END,
    # Nobody is there: no use in asking for the chains behind this one.
    (Standing.WAITING, Heard.OVER): Step.END,
    (Standing.RUNNING, Heard.ASKED): Step.REFUSE,
    (Standing.RUNNING, Heard.ANEW): Step.CHANGE,
    # Said twice, or delivered twice: it runs already, and no longer for it.
    (Standing.RUNNING, Heard.CONFIRMED): Step.KEEP,
    (Standing.RUNNING, Heard.PASSED): Step.GO_ON,
    (Standing.RUNNING, Heard.ENDED): Step.END,
    (Standing.RUNNING, Heard.ANOTHER): Step.REFUSE,
    # Nobody could end it any more, and its picture would hide that signals have become restrictive.
    (Standing.RUNNING, Heard.LOST): Step.END,
    (Standing.RUNNING, Heard.OVER): Step.GO_ON,
}
"""All that may happen to a lamp test."""
