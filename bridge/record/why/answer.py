"""What is said of a device that showed something: plain data, with the words for it made elsewhere."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from bridge.events import Instant, Word


class Kind(Word):
    """What a cause is. The first ones are faults and obstacles; the last ones are as somebody wanted it."""

    TESTED = "lamp-test"
    WIRING = "wiring"
    SOURCE = "source-lost"
    POWER = "power"
    SETTLING = "settling"
    NODE = "node"
    USE = "out-of-use"
    NEVER = "never-heard"
    DETECTOR = "detector"
    MOVING = "moving"
    FILTER = "not-long-enough"
    KEPT = "locked-before-restart"
    TIMED = "locked-for-a-time"
    LOCKED = "locked-by-another"
    USED_UP = "order-used-up"
    PASSED = "train-passed"
    OCCUPIED = "occupied"
    NOTHING = "nothing-ordered"
    NO_ROW = "no-row-fits"
    DIMMED = "dimmed"
    STILLED = "stilled"
    PRESSED = "button"
    ORDERED = "ordered"
    NUMBER = "aspect-number"
    PROVED = "proved"
    CLOCK = "clock"
    SHOWS = "shows"
    CLEAR = "clear"
    TOLD = "told"


class Over(Word):
    """Why something that came in changed nothing."""

    COPY = "kept-copy"
    RESTORED = "restored"
    REPEAT = "repeat"
    REFRESH = "refresh"
    RELEASED = "released"
    REFUSED = "refused"
    NO_MEANING = "no-meaning"  # nothing in the layout file says what it means here
    NOBODY = "nobody-listens"  # but something with nearly its number or name was waited for
    BOUNCE = "bounce"
    OUT = "source-out-of-use"


@dataclass(frozen=True, slots=True)
class When:
    """An instant of the session, by the clock on the wall, and by the model clock if that was known."""

    at: Instant
    wall: str
    model: str = ""


@dataclass(frozen=True, slots=True)
class Cited:
    """Something that came in.

    Attributes:
        number: of the event in the session, or of the refused input.
        when: when it came.
        text: in half a sentence.
        source: who told it.
        channel: where it came from, or empty where it had no raw form.
        raw: as it came: text, or base64 in an object; None where it had no raw form.
        retained: it was a kept copy.
    """

    number: int
    when: When
    text: str
    source: str
    channel: str = ""
    raw: str | dict[str, str] | None = None
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """The place in the layout file that gave something its aspect."""

    line: int
    text: str


@dataclass(frozen=True, slots=True)
class Link:
    """One thing in the chain of causes.

    Attributes:
        kind: what it is as a cause.
        subject: what sort of thing: signal, light, zone, crossing, block, accessory ...
        name: which.
        state: what it showed, or what was known of it; empty where nothing was.
        reason: why, in words; may be empty.
        since: since when it was so, or None where that was not told.
        about: the source, the node or the power district that is to blame, or empty.
        event: what told it, or None.
        rows: where the layout file says so.
        below: what it goes by and what mattered.
    """

    kind: Kind
    subject: str
    name: str
    state: str
    reason: str = ""
    since: When | None = None
    about: str = ""
    event: Cited | None = None
    rows: tuple[Written, ...] = ()
    below: tuple[Link, ...] = ()


@dataclass(frozen=True, slots=True)
class Blame:
    """A cause at the end of a chain: what kind, of which thing, and in words."""

    kind: Kind
    name: str
    text: str
    event: int = 0


@dataclass(frozen=True, slots=True)
class Passed:
    """Something that came in, concerned the device and changed nothing; `why` says what it would have had to be."""

    kind: Over
    name: str
    why: str
    event: Cited


@dataclass(frozen=True, slots=True)
class Needed:
    """One of the smallest sets of things that would have made it show something else.

    Attributes:
        aspect: what it would have shown.
        things: each in words, to be read behind `if`.
        after: how long it would have taken, nanoseconds.
        many: it is more than three things, and there may be a smaller set.
    """

    aspect: str
    things: tuple[str, ...]
    after: Instant
    many: bool = False


@dataclass(frozen=True, slots=True)
class Lit:
    """A lamp and the bytes that its chain was given for it, by the letter of the die or `light`; 0 is dark."""

    fixture: str
    lamp: str
    chain: str
    position: int
    levels: dict[str, int]

    @property
    def lit(self) -> bool:
        """Whether any of it shines."""
        return any(self.levels.values())


@dataclass(frozen=True, slots=True)
class Answer:
    """Why a device showed what it showed.

    Attributes:
        file: the log.
        layout: its name.
        device: what was asked about, as the layout file has it.
        subject: what sort of thing that is.
        when: the time that was asked about.
        aspect: what it showed then.
        reason: in a sentence.
        since: since when it had shown that.
        before: what it showed before, or empty where that was all along.
        reason_since: since when for this reason.
        chain: what it rests on, down to what came in.
        causes: the ends of that chain, what is most to blame first.
        missing: of what it goes by, that of which nothing was known and that mattered.
        passed_over: what came in and changed nothing, the last ones.
        needed: what would have made it show better, or otherwise for what has no better.
        impossible: sentences about what could not be reached.
        lamps: what its chain was last given for it.
        moving: its light flashes or plays an effect, so that these are right for that moment alone.
        over: what lies over its light, such as a zone that is dimmed.
        doubt: why this is no certain answer to what was asked, in a sentence; empty where it is.
        earlier: the file that this one goes on from, where it showed that already when this one began; or empty.
        notes: what an owner should know of the log.
    """

    file: str
    layout: str
    device: str
    subject: str
    when: When
    aspect: str
    reason: str
    since: When
    before: str
    reason_since: When
    chain: Link
    causes: tuple[Blame, ...]
    missing: tuple[Link, ...]
    passed_over: tuple[Passed, ...]
    needed: tuple[Needed, ...]
    impossible: tuple[str, ...]
    lamps: tuple[Lit, ...] = ()
    moving: bool = False
    over: tuple[Link, ...] = ()
    doubt: str = ""
    earlier: str = ""
    notes: tuple[str, ...] = field(default=())

    def to_data(self) -> dict[str, Any]:
        """Return everything as plain data for JSON."""
        return asdict(self)
