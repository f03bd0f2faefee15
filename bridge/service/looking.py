"""What was newly soldered is looked at, lamp by lamp, before it counts as built."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum

from bridge.service.bench import LEAVE, NO, YES
from bridge.service.showing import Showing
from bridge.trial.building import Step


class Seen(Enum):
    """What came of it."""

    RIGHT = "right"  # all of it is as it should be
    WRONG = "wrong"  # something is not
    LEFT = "left"  # not all of it was looked at


async def look_through(test: Sequence[Step], showing: Showing, say: Callable[[str], None]) -> Seen:
    """Show every picture of a new part and ask about it.

    The first that is not ends it: what follows would tell nothing, and a part that is wired wrongly is better off.

    Raises:
        LamproomError: the bridge refuses it.
        LinkError: the bridge or the broker is gone, or does not answer.
    """
    for number, step in enumerate(test, start=1):
        place = f"position {step.position}: " if step.position else ""
        text = f"{number} of {len(test)}. {place}{step.question} y or n"
        while True:
            said = await showing.ask(step.picture, text)
            word = None if said is None else said.lower()
            if word in YES:
                break
            if word is None or word in LEAVE:
                await showing.end()
                say("ended before all of it was looked at")
                return Seen.LEFT
            if word in NO:
                await showing.end()
                where = f" (position {step.position})" if step.position else ""
                say(f"not in order{where}: {step.question}")
                return Seen.WRONG
            text = "y is yes, n is no, q ends it here"
    await showing.end()
    return Seen.RIGHT
