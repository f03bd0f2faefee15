"""What is known of the layout: one fact for each thing that was told of, with who told it and when."""

from __future__ import annotations

from typing import Any, Final, NamedTuple, TypeAlias

from bridge.events import Position

Key: TypeAlias = tuple[str, int | str]
"""What a fact is about: a subject and the number or name of the thing."""

ORDERED: Final = "accessory"  # where an accessory was told to go, by its number
PROVED: Final = "proved"  # where it is known to be
NUMBER: Final = "aspect"  # the number of the aspect that an extended accessory was told to show
BUTTON: Final = "button"
BLOCK: Final = "block"  # as its filters let it through
SIGNAL: Final = "signal"  # the aspect of a signal
CROSSING: Final = "crossing"  # how far the closing of a crossing has got
ANOTHER: Final = "another-train"  # whether a second train is coming to a crossing
LIGHT: Final = "light"  # whether a light is on
CLOCK: Final = "clock"  # whether the model clock is between two times
TOGGLED: Final = "toggled"  # whether a button has turned something on
RUN: Final = "run"  # whether what a button has begun still runs
ENTERED: Final = "entered"  # whether a block was just entered

ABSENT: Final = "absent"
"""What a signal shows that is not there: nobody goes by it, and nobody has to."""

UNKNOWN: Final = "unknown"
"""The value of something that was known and is no longer."""


YES: Final = "yes"
NO: Final = "no"
"""The values of a fact that is or is not so."""


class Fact(NamedTuple):
    """What is known of one thing.

    Attributes:
        value: in the words of the event.
        event: number of the event that told it.
        source: who told it; empty where it was worked out here.
        copied: it is a kept copy of something older.
        why: where something is unknown, the reason in words.
        restored: it was kept over a restart by the bridge itself.
    """

    value: str
    event: int
    source: str
    copied: bool = False
    why: str = ""
    restored: bool = False


class Standing(NamedTuple):
    """Where an accessory stands, as far as it is known.

    Attributes:
        position: normal or reverse, or None where that is not known.
        proved: it is known by feedback, or would have to be.
        fact: what this rests on: what was told last, or that it is no longer known; None where nothing ever was told.
        why: where it is not known for a reason of its own, that reason in words.
    """

    position: Position | None
    proved: bool
    fact: Fact | None
    why: str = ""


class Known:
    """All facts.

    Args:
        feedback: accessories that tell where they are: what they were ordered says nothing of where they stand.
    """

    def __init__(self, feedback: frozenset[int] = frozenset()) -> None:
        self._facts: dict[Key, Fact] = {}
        self._feedback = feedback
        self._copies: dict[Key, Fact] = {}  # kept copies of what is only known from before a restart
        self._lost: dict[Key, Fact] = {}  # what was known until its source was lost, with the reason
        self._has_told: set[int] = set()
        self._out: dict[int, Fact] = {}  # why turnouts are out of use

    def get(self, key: Key) -> Fact | None:
        """Return what is known of a thing, or None."""
        return self._facts.get(key)

    def tell(self, key: Key, fact: Fact) -> bool:
        """Take a fact and return whether it counts: a kept copy only fills in what is not known."""
        before = self._facts.get(key)
        if fact.copied and before is not None:
            if before.restored and not fact.restored:
                self._copies[key] = fact
            return False
        self._facts[key] = fact
        self._copies.pop(key, None)
        self._lost.pop(key, None)
        if key[0] == PROVED and isinstance(key[1], int):
            self._has_told.add(key[1])
        return True

    def anew(self, key: Key) -> Fact | None:
        """Return what is known of a thing for those who do not go by what was told before a restart, or None."""
        fact = self._facts.get(key)
        return self._copies.get(key) if fact is not None and fact.restored else fact

    def lost(self, key: Key) -> Fact | None:
        """Return why a thing is no longer known of which nothing was told since its source was lost, or None."""
        return self._lost.get(key)

    def forget(self, source: str, event: int) -> list[Key]:
        """Forget what a source told; return what that was about, in the order in which it was first told.

        Args:
            source: the one that is no longer heard.
            event: number of the event that told so.
        """
        gone = [key for key, fact in self._facts.items() if fact.source == source]
        for key in gone:
            del self._facts[key]
            self._lost[key] = Fact(UNKNOWN, event, "", why=f"{source} was lost")
        for key, copy in [*self._copies.items()]:
            if copy.source == source:
                del self._copies[key]
            elif key not in self._facts:  # what was restored is gone, and somebody else's copy is not
                self._facts[key] = self._copies.pop(key)
                del self._lost[key]
        return gone

    def ordered(self, number: int, *, restored: bool = False) -> Standing:
        """Return where an accessory was told to go last, whatever became of it.

        Args:
            number: the accessory.
            restored: an order from before a restart counts as well.
        """
        key: Key = (ORDERED, number)
        return self._standing(key, self._facts.get(key) if restored else self.anew(key), proved=False)

    def standing(self, number: int) -> Standing:
        """Return where an accessory stands: as proved where there is feedback, as ordered where there is none.

        Better than restricted speed needs every switch of the route proved, not commanded: 49 CFR 236.303. A
        layout without feedback has to do with orders, and whoever asks is told which of the two it was.
        """
        proved = number in self._feedback or number in self._has_told
        key: Key = (PROVED if proved else ORDERED, number)
        return self._standing(key, self.anew(key), proved=proved)

    def _standing(self, key: Key, fact: Fact | None, *, proved: bool) -> Standing:
        out = self._out.get(int(key[1]))
        if out is not None:
            return Standing(None, proved, out, out.why)
        if fact is None:
            return Standing(None, proved, self._lost.get(key))
        return Standing(_STANDS.get(fact.value), proved, fact)

    def orders(self) -> list[tuple[Key, Fact]]:
        """Return what was ordered of accessories, the oldest first; what is only a copy is not among it."""
        found = [(key, fact) for key, fact in self._facts.items() if key[0] in (ORDERED, NUMBER)]
        # What was restored was told the newest first.
        found.sort(key=lambda each: (0, -each[1].event) if each[1].restored else (1, each[1].event))
        return [(key, fact) for key, fact in found if fact.restored or not fact.copied]

    def use(self, number: int, why: str, event: int) -> None:
        """Take a turnout out of use for a reason, or put it back into use for none."""
        if why:
            self._out[number] = Fact(UNKNOWN, event, "", why=why)
        else:
            self._out.pop(number, None)

    def out_of_use(self, number: int) -> Fact | None:
        """Return why a turnout is out of use, or None."""
        return self._out.get(number)

    def snapshot(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "facts": _listed(self._facts),
            "copies": _listed(self._copies),
            "lost": _listed(self._lost),
            "told": sorted(self._has_told),
            "out": [[number, fact.event, fact.why] for number, fact in self._out.items()],
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Take back what `snapshot` gave.

        Raises:
            KeyError, TypeError, ValueError: it is none; nothing has changed.
        """
        facts, copies, lost = (_facts(data[part]) for part in ("facts", "copies", "lost"))
        told = {int(number) for number in data["told"]}
        out = {int(number): Fact(UNKNOWN, int(event), "", why=str(why)) for number, event, why in data["out"]}
        self._facts, self._has_told, self._out = facts, told, out
        self._copies, self._lost = copies, lost


_STANDS: Final[dict[str, Position]] = {each: each for each in (Position.NORMAL, Position.REVERSE)}


def _listed(facts: dict[Key, Fact]) -> list[list[Any]]:
    return [[*key, *fact] for key, fact in facts.items()]


def _facts(listed: Any) -> dict[Key, Fact]:
    return {
        (str(subject), _name(name)): Fact(
            str(value), int(event), str(source), bool(copied), str(why), bool(restored)
        )
        for subject, name, value, event, source, copied, why, restored in listed
    }


def _name(value: Any) -> int | str:
    if isinstance(value, int | str):
        return value
    raise TypeError(f"{value!r} is neither a number nor a name")
