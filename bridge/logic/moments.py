"""What is remembered of presses and trains: whether a button has turned something on, and what runs for a while.

All of it is lamproom's own. So a source that is lost changes none of it: what runs ends by itself, and what was
turned on is turned off by the next press.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, TypeAlias

from bridge.events import BlockState, ButtonState, Instant, Word
from bridge.layout.conditions import BlockEntered, ButtonRuns, ButtonToggled, Leaf
from bridge.logic.known import BLOCK, BUTTON, ENTERED, NO, RUN, TOGGLED, YES, Fact, Key, Known
from bridge.logic.track import Change


class Happens(Word):
    """What happens to a moment."""

    BEGINS = "begins"  # the button was pressed, or a train came in
    ENDS = "ends"  # its time is over


Table: TypeAlias = Mapping[tuple[str, Happens], str]

TOGGLES: Final[Table] = {
    (NO, Happens.BEGINS): YES,
    (YES, Happens.BEGINS): NO,
}
"""What each press turns round; nothing but a press does."""

RUNS: Final[Table] = {
    (NO, Happens.BEGINS): YES,
    (YES, Happens.BEGINS): YES,  # its time begins anew
    (YES, Happens.ENDS): NO,
    (NO, Happens.ENDS): NO,
}
"""What runs for a while."""


def moment_key(leaf: ButtonToggled | ButtonRuns | BlockEntered) -> Key:
    """Return what the fact is about that a moment is."""
    match leaf:
        case ButtonToggled(button):
            return TOGGLED, button
        case ButtonRuns(button, time):
            return RUN, f"{button}/{time}"
        case BlockEntered(block, time):
            return ENTERED, f"{block}/{time}"


class Moments:
    """All moments that somebody goes by: those who ask for the same have the same."""

    def __init__(self, leaves: Iterable[Leaf], known: Known) -> None:
        """Make those of some conditions; nothing has begun."""
        self._known = known
        self._times: dict[Key, int] = {}  # 0 for what has no end
        self._begun_by: dict[Key, list[Key]] = {}
        for leaf in leaves:
            if isinstance(leaf, ButtonToggled | ButtonRuns | BlockEntered):
                self._watch(leaf)
        self._were: dict[Key, str] = {}  # how what begins them stood before
        self._due: dict[Key, Instant] = {}

    def _watch(self, leaf: ButtonToggled | ButtonRuns | BlockEntered) -> None:
        key = moment_key(leaf)
        if key in self._times:
            return
        self._times[key] = 0 if isinstance(leaf, ButtonToggled) else leaf.time
        begins: Key = (BLOCK, leaf.block) if isinstance(leaf, BlockEntered) else (BUTTON, leaf.button)
        self._begun_by.setdefault(begins, []).append(key)

    def begun_by(self, key: Key) -> Sequence[Key]:
        """Return the moments that a button or a block begins."""
        return self._begun_by.get(key, ())

    def hear(self, changes: Sequence[Change], at: Instant) -> list[Change]:
        """Take what is known otherwise of buttons and blocks; return what came of it."""
        return [change for each in changes if each.key in self._begun_by for change in self._begin(each, at)]

    def _begin(self, change: Change, at: Instant) -> Iterator[Change]:
        key, fact = change
        if fact is not None and fact.copied:
            return  # a kept copy is no press
        before = self._were.get(key, "")
        now = self._were[key] = "" if fact is None else fact.value
        pressed = key[0] == BUTTON and now == ButtonState.PRESSED != before
        # A block of which nothing was known may have been occupied all the time.
        entered = key[0] == BLOCK and now == BlockState.OCCUPIED and before == BlockState.CLEAR
        if fact is not None and (pressed or entered):
            for moment in self._begun_by[key]:
                yield self._happens(moment, Happens.BEGINS, fact.event, at)

    def _happens(self, moment: Key, happens: Happens, event: int, at: Instant) -> Change:
        known, time = self._known.get(moment), self._times[moment]
        table = RUNS if time else TOGGLES
        value = table[NO if known is None else known.value, happens]
        if time and value == YES:
            self._due[moment] = at + time
        fact = Fact(value, event, "")
        self._known.tell(moment, fact)
        return Change(moment, fact)

    def next_due(self) -> Instant | None:
        """Return when the next of them is over, or None while none runs."""
        return min(self._due.values()) if self._due else None

    def perform(self, due: Instant) -> list[Change]:
        """Let those end whose time is over at this instant."""
        over = [moment for moment, at in self._due.items() if at == due]
        changes = []
        for moment in over:
            del self._due[moment]
            known = self._known.get(moment)
            changes.append(self._happens(moment, Happens.ENDS, 0 if known is None else known.event, due))
        return changes

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data; whether they hold is among the facts."""
        return {
            "were": [[*key, value] for key, value in self._were.items()],
            "due": [[*key, due] for key, due in self._due.items()],
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is of another layout; nothing has changed.
        """
        were: dict[Key, str] = {(str(kind), str(name)): str(value) for kind, name, value in data["were"]}
        due: dict[Key, Instant] = {(str(kind), str(name)): int(at) for kind, name, at in data["due"]}
        if not set(were) <= set(self._begun_by) or not set(due) <= set(self._times):
            raise ValueError("it is of other conditions")
        self._were.clear()
        self._were.update(were)
        self._due.clear()
        self._due.update(due)
