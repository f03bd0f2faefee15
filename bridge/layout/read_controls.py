"""What tells a signal what to show, read from its entry; every name in it is looked up."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from bridge.events import Position
from bridge.layout.controls import (
    Ahead,
    AspectNumbers,
    CommandRow,
    Control,
    Following,
    HeldButtons,
    LastCommand,
    LatchedButtons,
    Needs,
    PositionTable,
    SteppedButton,
    TableRow,
    Way,
)
from bridge.layout.devices import POSITION_WORDS
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice, said
from bridge.layout.schema import (
    ButtonsEntry,
    CommandEntry,
    FollowingEntry,
    NumberEntry,
    SignalEntry,
    TableRowEntry,
    WayEntry,
)
from bridge.layout.tables import no_aspect
from bridge.layout.text import Path

WAYS: Final = frozenset({"commands", "table", "aspect_number", "ahead", "buttons", "follows"})
"""The keys of a signal that say what tells it."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the controls of one signal may name.

    Attributes:
        name: its own name.
        aspects: its own aspects, the most restrictive first; none where they have an error.
        sequence: those of automatic signalling.
        signals: for each signal its aspects and its sequence.
        blocks: the names of the blocks.
        absent: why it has none of the other aspects of its set, by name.
    """

    name: str
    aspects: tuple[str, ...]
    sequence: tuple[str, ...]
    signals: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = field(default_factory=dict)
    blocks: Collection[str] = ()
    absent: Mapping[str, str] = field(default_factory=dict)


def read_controls(desk: Desk, entry: SignalEntry, known: Known, path: Path) -> tuple[Control, ...]:
    """Read everything that tells one signal what to show; what has an error is left out, and noted."""
    controls: list[Control | None] = []
    if entry.commands is not None:
        controls.append(LastCommand(_commands(desk, entry.commands, known, (*path, "commands"))))
    if entry.table is not None:
        controls.append(_table(desk, entry.table, known, (*path, "table")))
    if entry.aspect_number is not None:
        controls.append(_numbers(desk, entry.aspect_number, known, (*path, "aspect-number")))
    if entry.ahead is not None:
        controls.append(_ahead(desk, entry.ahead, known, (*path, "ahead")))
    if entry.buttons is not None:
        controls.append(_buttons(desk, entry.buttons, known, (*path, "buttons")))
    if entry.follows is not None:
        controls.append(_following(desk, entry.follows, known, (*path, "follows")))
    empty = [word for word in sorted(entry.model_fields_set & WAYS) if getattr(entry, word) is None]
    for word in empty:
        where = (*path, word.replace("_", "-"))
        desk.error(
            where, f"{said(None)} does not fit: a mapping is needed, with a key and a colon for each value"
        )
    if not controls and not empty:
        desk.key_error(
            path,
            "nothing tells this signal what to show: give it commands, table, aspect-number, ahead, buttons or follows",
        )
    return tuple(control for control in controls if control is not None)


def is_aspect(desk: Desk, aspect: str, known: Known, path: Path) -> bool:
    """Return whether a signal has an aspect, and note it if not; where none could be read nobody is blamed."""
    if aspect in known.aspects or not known.aspects:
        return True
    desk.error(path, no_aspect(aspect, known.aspects, known.absent))
    return False


def is_signal(desk: Desk, signal: str, known: Collection[str], path: Path) -> bool:
    """Return whether a signal is one of these, and note it if not."""
    if signal in known:
        return True
    if "signals" not in desk.unread:
        desk.error(path, f"no signal is called {signal!r}; {choice(signal, known)}")
    return False


def is_other(desk: Desk, signal: str, known: Known, path: Path, does: str) -> bool:
    """Return whether a signal is another one of the layout, and note it if not; `does` is what it does with that."""
    if signal == known.name:
        desk.error(path, f"{signal} cannot {does} itself: name another signal")
        return False
    return is_signal(desk, signal, known.signals, path)


def is_block(desk: Desk, block: str, known: Collection[str], path: Path) -> bool:
    """Return whether a block is one of these, and note it if not."""
    if block in known:
        return True
    if "blocks" not in desk.unread:
        hint = "; a block is named in the section `blocks`" if not known else ""
        desk.error(path, f"no block is called {block!r}; {choice(block, known)}{hint}")
    return False


def _commands(
    desk: Desk, commands: dict[int, CommandEntry], known: Known, path: Path
) -> tuple[CommandRow, ...]:
    rows = []
    for number, entry in commands.items():
        where = (*path, str(number))
        orders: dict[Position, str] = {}
        marks: dict[Position, Mark] = {}
        for word, position in POSITION_WORDS.items():
            aspect = getattr(entry, word)
            if aspect is None:
                continue
            inner = (*where, word)
            if position in marks:
                other = marks[position].line
                desk.key_error(
                    inner, f"{word} and {position} are one position, already said in line {other}: keep one"
                )
                continue
            marks[position] = desk.mark(inner)
            if is_aspect(desk, aspect, known, inner):
                orders[position] = aspect
        if not marks:
            desk.error(
                where, f"accessory {number} orders nothing here: give normal, reverse or both an aspect"
            )
        rows.append(CommandRow(number, orders, marks, desk.key_mark(where)))
    return tuple(rows)


def needs(wanted: Mapping[int, str]) -> Needs:
    """Return accessories with their positions, without those that may be anywhere."""
    return tuple((number, POSITION_WORDS[word]) for number, word in wanted.items() if word != "any")


def _table(desk: Desk, entries: tuple[TableRowEntry, ...], known: Known, path: Path) -> PositionTable:
    rows = []
    for index, entry in enumerate(entries):
        where = (*path, index)
        if is_aspect(desk, entry.show, known, (*where, "show")):
            rows.append(TableRow(needs(entry.when), entry.show, desk.mark(where)))
    return PositionTable(tuple(rows), desk.key_mark(path))


def _numbers(desk: Desk, entry: NumberEntry, known: Known, path: Path) -> AspectNumbers:
    aspects = {
        number: aspect
        for number, aspect in entry.aspects.items()
        if is_aspect(desk, aspect, known, (*path, "aspects", str(number)))
    }
    return AspectNumbers(entry.accessory, aspects, desk.key_mark(path))


def _ahead(desk: Desk, entries: tuple[WayEntry, ...], known: Known, path: Path) -> Ahead:
    ways = [_way(desk, entry, known, (*path, index)) for index, entry in enumerate(entries)]
    return Ahead(tuple(way for way in ways if way is not None), desk.key_mark(path))


def _way(desk: Desk, entry: WayEntry, known: Known, path: Path) -> Way | None:
    sound = [
        is_block(desk, each, known.blocks, (*path, "blocks", place))
        for place, each in enumerate(entry.blocks)
    ]
    others: tuple[str, ...] = ()
    series: tuple[str, ...] = ()
    if entry.next is not None:
        sound.append(is_signal(desk, entry.next, known.signals, (*path, "next")))
        others, series = known.signals.get(entry.next, ((), ()))
    for other, own in entry.shows.items():
        sound.append(is_aspect(desk, own, known, (*path, "shows", other)))
        if others and other not in others:
            text = f"{entry.next} has no aspect {other!r}; {choice(other, others)}"
            desk.key_error((*path, "shows", other), text)
            sound.append(False)
    if entry.beyond is not None:
        sound.append(is_aspect(desk, entry.beyond, known, (*path, "beyond")))
    said_all = entry.beyond is not None and (entry.next is None or set(entry.shows) >= set(others))
    if not known.sequence and known.aspects and not said_all:
        desk.error(
            path,
            "say with `sequence` which aspects this signal shows with more and more clear sections ahead, such as "
            "[stop, approach, clear], or say all of it with `shows` and `beyond`",
        )
        return None
    if not all(sound) or not known.aspects:
        return None
    # What is known of nothing beyond is taken for a signal at its most restrictive.
    beyond = entry.beyond or known.sequence[:2][-1]
    shows = entry.shows | {
        other: known.sequence[min(place + 1, len(known.sequence) - 1)]
        for place, other in enumerate(series)
        if known.sequence and other not in entry.shows
    }
    return Way(needs(entry.turnouts), entry.blocks, entry.next or "", shows, beyond, desk.mark(path))


def _buttons(desk: Desk, entry: ButtonsEntry, known: Known, path: Path) -> Control | None:
    given = [word for word in ("held", "latched", "stepped") if getattr(entry, word) is not None]
    if len(given) != 1:
        has = "none of them stands here" if not given else f"{' and '.join(given)} stand here"
        desk.error(path, f"buttons are held, latched or stepped, and {has}")
        return None
    if entry.otherwise is not None and entry.held is None:
        desk.key_error(
            (*path, "otherwise"), "`otherwise` is what shows while no button is held: it goes with `held`"
        )
    mark = desk.key_mark(path)
    if entry.stepped is not None:
        for place, aspect in enumerate(entry.stepped.aspects):
            is_aspect(desk, aspect, known, (*path, "stepped", "aspects", place))
        return SteppedButton(entry.stepped.button, entry.stepped.aspects, mark)
    aspects = entry.held or entry.latched or {}
    for button, aspect in aspects.items():
        is_aspect(desk, aspect, known, (*path, given[0], button))
    if entry.held is None:
        return LatchedButtons(aspects, mark)
    if entry.otherwise is not None:
        is_aspect(desk, entry.otherwise, known, (*path, "otherwise"))
    return HeldButtons(aspects, entry.otherwise or next(iter(known.aspects), ""), mark)


def _following(desk: Desk, wanted: Any, known: Known, path: Path) -> Following | None:
    entry: FollowingEntry | None
    if isinstance(wanted, str | int) and not isinstance(wanted, bool):
        entry, where = FollowingEntry(signal=str(wanted)), path
    else:
        entry, where = desk.entry(FollowingEntry, wanted, path), (*path, "signal")
    if entry is None or not is_other(desk, entry.signal, known, where, "follow"):
        return None
    others, _series = known.signals[entry.signal]
    sound = True
    for other, own in entry.shows.items():
        sound &= is_aspect(desk, own, known, (*path, "shows", other))
        if others and other not in others:
            desk.key_error(
                (*path, "shows", other), f"{entry.signal} has no aspect {other!r}; {choice(other, others)}"
            )
            sound = False
    same = {other: other for other in others if other in known.aspects}
    shows = entry.shows or same
    if not shows and others and known.aspects:
        desk.error(
            path,
            f"none of the aspects of {entry.signal} is one of this signal's: say with `shows` which goes with which",
        )
        sound = False
    return Following(entry.signal, shows, desk.key_mark(path)) if sound else None
