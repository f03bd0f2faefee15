"""Signals that are told what to show in one way or in several at once, and what each way must make of what is said.

The oracles here are written from the owner's guide and know nothing of the code: each keeps what was said to it and
says, when asked, which aspect that means. A signal shows the most restrictive of what its oracles say.
"""

from __future__ import annotations

from itertools import combinations, product
from typing import Final, Protocol

from bridge.events import (
    AccessoryOrdered,
    AspectOrdered,
    Authority,
    ButtonReported,
    ButtonState,
    Event,
    Position,
)
from tests.support.mixed_track import SidedTrack
from tests.support.tracks import written

ASPECTS: Final = ("stop", "restricting", "approach", "clear")
"""The most restrictive first."""

KINDS: Final[dict[str, str]] = {
    "command": "commands: {61: {normal: stop, reverse: clear}, 62: {normal: approach, reverse: restricting}}",
    "table": "table: [{when: {63: normal, 64: any}, show: stop}, {when: {63: reverse, 64: normal}, show: approach}, "
    "{when: {63: any, 64: reverse}, show: clear}]",
    "number": "aspect-number: {accessory: 37, aspects: {0: stop, 4: approach, 15: clear}}",
    "ahead": "ahead: [{turnouts: {65: normal}, blocks: [east], next: N}, "
    "{turnouts: {65: reverse}, blocks: [siding], beyond: restricting}]",
    "follows": "follows: {signal: M, shows: {stop: restricting, approach: approach, clear: clear}}",
    "held": "buttons: {held: {crash: stop, slow: approach}, otherwise: clear}",
    "latched": "buttons: {latched: {red: stop, amber: approach, green: clear}}",
    "stepped": "buttons: {stepped: {button: next, aspects: [clear, approach, stop]}}",
}
"""Every way in which a signal can be told, as it stands in the layout file."""

_BUTTONS: Final = {"held", "latched", "stepped"}  # a signal has one of them at the most

MIXTURES: Final = tuple(
    kinds
    for size in (1, 2, 3)
    for kinds in combinations(KINDS, size)
    if len(_BUTTONS.intersection(kinds)) <= 1
)
"""Each way, each two of them and each three of them that can stand together."""

TRACK: Final = """\
sources: {panel: {kind: mqtt}, tower: {kind: mqtt}}
districts: {main: {settle: 2 s}}
blocks: {east: {district: main}, siding: {district: main}, points: {district: main}}
turnouts: {65: {}}
"""


def mixed(kinds: tuple[str, ...], more: str = "") -> str:
    """Return a layout whose signals X, P and Q are told in these ways; P and Q are in conflict, X goes free.

    M, whom signals may follow, and N, the next signal, hang on the node `far`.

    Args:
        kinds: how they are told.
        more: other keys of each of the three.
    """
    told = ", ".join([KINDS[kind] for kind in kinds] + ([more] if more else []))
    lock = "locking: {time: 4 s, reclear: true}"
    signals = {
        "X": told,
        "P": f"{told}, {lock}, routes: {{up: {{turnouts: {{65: normal}}, sections: [points, east], conflicts: [Q]}}}}",
        "Q": f"{told}, {lock}, routes: {{down: {{sections: [siding], conflicts: [P]}}}}",
        "M": "commands: {71: {normal: stop, reverse: clear}, 72: {normal: approach}}",
        "N": "commands: {73: {normal: stop, reverse: clear}, 74: {normal: approach}}",
    }
    return written(signals, TRACK, {"M": "far", "N": "far"})


def worst(aspects: list[str]) -> str:
    """Return the most restrictive of some aspects."""
    return min(aspects, key=ASPECTS.index)


class Oracle(Protocol):
    """One way of being told."""

    def hear(self, event: Event) -> None:
        """Take what somebody in use says."""
        ...

    def lose(self, source: str) -> None:
        """Forget what a source said."""
        ...

    def says(self, track: SidedTrack) -> str:
        """Return the aspect that all this means."""
        ...


class Last:
    """The last command counts, whichever accessory it came by. A kept copy is no command."""

    def __init__(self, rows: dict[tuple[int, str], str]) -> None:
        self.rows = rows
        self.last: tuple[str, str] | None = None

    def hear(self, event: Event) -> None:
        if isinstance(event, AccessoryOrdered) and event.authority is Authority.COMMAND:
            aspect = self.rows.get((event.number, event.position.value))
            if aspect:
                self.last = aspect, event.source

    def lose(self, source: str) -> None:
        if self.last and self.last[1] == source:
            self.last = None

    def says(self, track: SidedTrack) -> str:
        del track
        return self.last[0] if self.last else "stop"


class Table:
    """The first row that fits, with what was ordered last; a copy fills in what is not known."""

    def hear(self, event: Event) -> None:
        """Positions are kept with the track."""

    def lose(self, source: str) -> None:
        """The same."""

    def says(self, track: SidedTrack) -> str:
        main, other = track.ordered(63), track.ordered(64)
        if main != "reverse":
            return "stop"
        return {"normal": "approach", "reverse": "clear"}.get(other or "", "stop")


class Number:
    """The last number that means something; there is one that can be the last, so a copy may fill it in."""

    def __init__(self) -> None:
        self.last: tuple[str, str] | None = None

    def hear(self, event: Event) -> None:
        if isinstance(event, AspectOrdered):
            aspect = {0: "stop", 4: "approach", 15: "clear"}.get(event.aspect)
            if aspect and (event.authority is Authority.COMMAND or not self.last):
                self.last = aspect, event.source

    def lose(self, source: str) -> None:
        if self.last and self.last[1] == source:
            self.last = None

    def says(self, track: SidedTrack) -> str:
        del track
        return self.last[0] if self.last else "stop"


class AheadOracle:
    """The turnout that is set, the block behind it clear, and one step better than the next signal."""

    def __init__(self, following: Last) -> None:
        self.next = following

    def hear(self, event: Event) -> None:
        self.next.hear(event)

    def lose(self, source: str) -> None:
        self.next.lose(source)

    def says(self, track: SidedTrack) -> str:
        match track.stands(65):
            case "normal" if track.is_clear("east"):
                return (
                    "clear" if track.seen("N", self.next.says(track)) in ("approach", "clear") else "approach"
                )
            case "reverse" if track.is_clear("siding"):
                return "restricting"
        return "stop"


class Follows:
    """What goes with the aspect of M."""

    def __init__(self, main: Last) -> None:
        self.main = main

    def hear(self, event: Event) -> None:
        self.main.hear(event)

    def lose(self, source: str) -> None:
        self.main.lose(source)

    def says(self, track: SidedTrack) -> str:
        shows = {"stop": "restricting", "approach": "approach", "clear": "clear", "absent": "stop"}
        return shows[track.seen("M", self.main.says(track))]


class Held:
    """The most restrictive of the buttons that are held; one whose panel was lost may be held or not."""

    def __init__(self) -> None:
        self.told: dict[str, tuple[str, str]] = {}  # by button, what was said last and by whom

    def hear(self, event: Event) -> None:
        if isinstance(event, ButtonReported) and event.name in ("crash", "slow"):
            if event.authority is Authority.COMMAND:
                self.told[event.name] = event.state.value, event.source
            else:
                self.told.setdefault(event.name, ("copied", event.source))

    def lose(self, source: str) -> None:
        for name, (_state, by) in self.told.items():
            if by == source:
                self.told[name] = "lost", ""

    def says(self, track: SidedTrack) -> str:
        del track
        states = [self.told.get(name, ("never", ""))[0] for name in ("crash", "slow")]
        if not {"pressed", "released"} & set(states):
            return "stop"
        may = [{"pressed": [True], "lost": [True, False]}.get(state, [False]) for state in states]
        means = {"stop" if crash else "approach" if slow else "clear" for crash, slow in product(*may)}
        return means.pop() if len(means) == 1 else "stop"


class Latched:
    """The button that was pressed last."""

    def __init__(self) -> None:
        self.last: tuple[str, str] | None = None

    def hear(self, event: Event) -> None:
        if isinstance(event, ButtonReported) and event.authority is Authority.COMMAND:
            aspect = {"red": "stop", "amber": "approach", "green": "clear"}.get(event.name)
            if aspect and event.state is ButtonState.PRESSED:
                self.last = aspect, event.source

    def lose(self, source: str) -> None:
        if self.last and self.last[1] == source:
            self.last = None

    def says(self, track: SidedTrack) -> str:
        del track
        return self.last[0] if self.last else "stop"


class Stepped:
    """One step further with each press; a press that is told twice is one press."""

    def __init__(self) -> None:
        self.presses = 0
        self.held = False
        self.by = ""

    def hear(self, event: Event) -> None:
        if (
            isinstance(event, ButtonReported)
            and event.name == "next"
            and event.authority is Authority.COMMAND
        ):
            pressed = event.state is ButtonState.PRESSED
            if pressed and not self.held:
                self.presses += 1
                self.by = event.source
            self.held = pressed

    def lose(self, source: str) -> None:
        if self.presses and self.by == source:
            self.presses, self.held = 0, False

    def says(self, track: SidedTrack) -> str:
        del track
        return ("clear", "approach", "stop")[(self.presses - 1) % 3] if self.presses else "stop"


def oracle(kind: str) -> Oracle:
    """Return a fresh oracle for one way of being told."""
    commands = {(61, "normal"): "stop", (61, "reverse"): "clear"}
    commands |= {(62, "normal"): "approach", (62, "reverse"): "restricting"}
    main = Last({(71, "normal"): "stop", (71, "reverse"): "clear", (72, "normal"): "approach"})
    following = Last({(73, "normal"): "stop", (73, "reverse"): "clear", (74, "normal"): "approach"})
    made: dict[str, Oracle] = {
        "command": Last(commands),
        "table": Table(),
        "number": Number(),
        "ahead": AheadOracle(following),
        "follows": Follows(main),
        "held": Held(),
        "latched": Latched(),
        "stepped": Stepped(),
    }
    return made[kind]


ACCESSORIES: Final[dict[str, tuple[int, ...]]] = {
    "command": (61, 62),
    "table": (63, 64),
    "ahead": (65, 73, 74),
    "follows": (71, 72),
}
BUTTONS: Final[dict[str, tuple[str, ...]]] = {
    "held": ("crash", "slow"),
    "latched": ("red", "amber", "green"),
    "stepped": ("next",),
}
NUMBERS: Final = (0, 4, 15, 9)
"""Numbers that may be ordered; 9 means nothing."""


def orders_for(kinds: tuple[str, ...]) -> list[Event]:
    """Return, as commands of the source `panel`, all that may be said to signals that are told in these ways."""
    numbers = dict.fromkeys([*(number for kind in kinds for number in ACCESSORIES.get(kind, ())), 65])
    said: list[Event] = [
        AccessoryOrdered(at=0, source="panel", number=number, position=position)
        for number in numbers
        for position in (Position.NORMAL, Position.REVERSE)
    ]
    if "number" in kinds:
        said += [AspectOrdered(at=0, source="panel", number=37, aspect=aspect) for aspect in NUMBERS]
    said += [
        ButtonReported(at=0, source="panel", name=name, state=state)
        for kind in kinds
        for name in BUTTONS.get(kind, ())
        for state in ButtonState
    ]
    return said
