"""One device: what tells it what to show, and which of that counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from bridge.events import BlockState
from bridge.layout import controls
from bridge.layout.conditions import Leaf
from bridge.layout.model import DARK, OFF, Layout, Light, Signal
from bridge.logic.by_condition import ByCondition, of_light, of_still, of_zone
from bridge.logic.gate import Gate
from bridge.logic.known import BLOCK, SIGNAL, Fact, Key, Known
from bridge.logic.reasons import Choice
from bridge.logic.rests import Hold
from bridge.logic.selection import (
    LAST_COMMAND,
    SWITCHED,
    Control,
    Obeying,
    SteppedButton,
    aspect_numbers,
    last_command,
    latched_buttons,
)
from bridge.logic.working_out import (
    Ahead,
    CrossingShows,
    Following,
    HeldButtons,
    PositionTable,
    in_order,
    showing,
)

STILLED: Final = "flashing"
"""The name of what `still` is about."""


def most_restrictive(said: Sequence[Choice]) -> Choice:
    """Return the first of what several controls say, the most restrictive first, with all that was decisive.

    That is all that says so, and what would count next.
    """
    first = said[0]
    reasons = {first.reason: None}
    causes = [*first.causes]
    otherwise = ""
    for each in said[1:]:
        causes += each.causes
        if each.aspect != first.aspect:
            otherwise = f"; otherwise it would show {each.aspect}: {each.reason}"
            break
        reasons[each.reason] = None
    return Choice(first.aspect, "; and ".join(reasons) + otherwise, in_order(causes), first.source)


class Device:
    """A signal or a light.

    Attributes:
        name: its name.
        keys: what it has to hear of.
        choice: the aspect that it has, and why.
        shown: what its lamps show: the aspect, or dark.
        gave_up: it was told to give up choosing, and has not chosen since.
    """

    gave_up = False

    def __init__(
        self, name: str, parts: tuple[Control, ...], ranks: dict[str, int], out: Choice | None = None
    ) -> None:
        """Make a device of its controls.

        Args:
            name: its name.
            parts: what tells it what to show.
            ranks: how good each aspect is, the most restrictive 0.
            out: what it shows for good where its lamps cannot be relied upon.
        """
        self.name = name
        self._lost = out
        self.controls = parts
        self._ranks = ranks
        self.keys: tuple[Key, ...] = tuple(dict.fromkeys(key for part in parts for key in part.keys))
        self.choice = self.shown = Choice("", "")
        self._hearing = {key: tuple(part for part in parts if key in part.keys) for key in self.keys}

    @property
    def leaves(self) -> tuple[Leaf, ...]:
        """All that its conditions go by."""
        return tuple(leaf for part in self.controls if isinstance(part, ByCondition) for leaf in part.leaves)

    def hear(self, key: Key, fact: Fact) -> None:
        """Take a new fact of one of its keys."""
        for part in self._hearing.get(key, ()):
            part.hear(key, fact)

    def lose(self, source: str, event: int) -> bool:
        """Take it that a source is no longer heard; return whether anything here rested on it."""
        rested = False
        for part in self.controls:
            rested |= part.lose(source, event)
        return rested

    def give_up(self, reason: str) -> None:
        """Choose nothing: stay as it is."""

    def decide(self, known: Known) -> None:
        """Choose anew."""
        self.choice = self.shown = self._lost or self._wish(known)

    def _wish(self, known: Known) -> Choice:
        """Return what it is told to show: of what several controls say, the most restrictive."""
        if len(self.controls) == 1:
            return self.controls[0].choose(known)
        said = [part.choose(known) for part in self.controls]
        said.sort(key=self._rank)
        return most_restrictive(said)

    def _rank(self, choice: Choice) -> int:
        return self._ranks[choice.aspect]

    def state(self) -> list[Any]:
        """Return what its controls remember, as plain data."""
        return [part.state() for part in self.controls]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave; raise TypeError or ValueError if it is none."""
        for part, each in zip(self.controls, data, strict=True):
            part.set_state(each)


class SignalDevice(Device):
    """A signal, which may be dark although it has an aspect.

    Attributes:
        rest: its most restrictive aspect.
        key: what the fact is about that tells others of its aspect.
    """

    def __init__(self, signal: Signal, main: Signal | None, gate: Gate | None = None) -> None:
        """Make a signal.

        Args:
            signal: as the layout has it.
            main: the one on its mast under which it is dark, if there is one.
            gate: what lets it clear, if it is interlocked.
        """
        self.rest = signal.rest
        self.key: Key = (SIGNAL, signal.name)
        ranks = {row.name: rank for rank, row in enumerate(signal.aspects)}
        parts = tuple(_control(each, signal, ranks) for each in signal.controls)
        super().__init__(signal.name, parts, ranks, _out_of_use(signal.rest, signal.lost))
        _restore(self.controls, restores=signal.restores)
        self._main = main
        self._lit_by = signal.lit_by
        overlay: list[Key] = [(BLOCK, block) for block in signal.lit_by]
        overlay += [(SIGNAL, main.name)] if main is not None else []
        self._gate = gate
        self._obeying = [part for part in self.controls if isinstance(part, Obeying)]
        self._out: Choice | None = None
        gated = () if gate is None else gate.keys
        self.keys = tuple(dict.fromkeys((*self.keys, *overlay, *gated)))

    def use(self, why: str, event: int) -> None:
        """Take it out of use for a reason, or put it back into use for none."""
        self._out = Choice(self.rest, f"it {why}", in_order([event])) if why else None

    def decide(self, known: Known) -> None:
        """Choose anew: what it is told, if it may clear, and whether it is lit."""
        self.gave_up = False
        wish = self._out or self._lost or self._wish(known)
        self.choice = wish if self._gate is None else self._allowed(wish, self._gate, known)
        self.shown = self._lit(known) if self._main is not None or self._lit_by else self.choice

    def _allowed(self, wish: Choice, gate: Gate, known: Known) -> Choice:
        # By its orders a new one is told from an old one; what works by itself always wants the same.
        return gate.govern(wish, self._orders(), known)

    def hold(self, others: tuple[str, ...]) -> Hold | None:
        """Return how its gate stands, or None where it has none; `others` have something locked that it may need."""
        if self._gate is None:
            return None
        return self._gate.hold(others, self._orders())

    def used_up(self) -> tuple[Key, ...]:
        """Return by what it was ordered where a train has used that order up, or where it was refused for good."""
        if self._gate is None or not self._gate.is_used_up(self._orders()):
            return ()
        return tuple(key for part in self._obeying for key in part.keys)

    def _orders(self) -> tuple[int, ...]:
        """Return the events by which it was ordered."""
        return tuple([event for part in self._obeying for event in part.choice.causes])

    def give_up(self, reason: str) -> None:
        """Show the most restrictive aspect."""
        self.gave_up = True
        self.choice = self.shown = Choice(self.rest, reason)

    def _lit(self, known: Known) -> Choice:
        if self._main is not None:
            fact = known.get((SIGNAL, self._main.name))
            if fact is None or fact.value == self._main.rest:
                event = 0 if fact is None else fact.event
                return Choice(DARK, showing(self._main.name, fact), in_order([event]))
        if self._lit_by:
            facts = [known.get((BLOCK, block)) for block in self._lit_by]
            if all(fact is not None and fact.value == BlockState.CLEAR for fact in facts):
                return Choice(DARK, "no train is near", in_order(fact.event for fact in facts if fact))
        return self.choice


def _out_of_use(rest: str, lost: str) -> Choice | None:
    """Return what is shown for good where lamps cannot be relied upon, and nothing where they can."""
    return Choice(rest, f"it is out of use: {lost}") if lost else None


def light_device(light: Light) -> Device:
    """Return the device of a light."""
    return Device(light.name, (of_light(light),), {}, _out_of_use(OFF, light.lost))


def master_devices(layout: Layout) -> tuple[Device, ...]:
    """Return what is over several devices: the zones in the order of the file, then what stills all flashing."""
    parts = [(zone.name, of_zone(zone)) for zone in layout.zones]
    parts += [] if layout.still is None else [(STILLED, of_still(layout.still))]
    return tuple(Device(name, (part,), {}) for name, part in parts)


def _restore(parts: tuple[Control, ...], *, restores: bool) -> None:
    for part in parts:
        if isinstance(part, Obeying | PositionTable):
            part.restores = restores


def _control(control: controls.Control, signal: Signal, ranks: dict[str, int]) -> Control:
    rest = signal.rest
    match control:
        case controls.LastCommand():
            return last_command(control, rest)
        case controls.AspectNumbers():
            # Where each order serves one train, nobody knows whether one has used up what a copy tells of.
            once = bool(signal.routes) and not signal.locking.reclear
            return aspect_numbers(control, rest, LAST_COMMAND if once else SWITCHED)
        case controls.LatchedButtons():
            return latched_buttons(control, rest)
        case controls.SteppedButton():
            return SteppedButton(control, rest)
        case controls.PositionTable():
            return PositionTable(control, rest)
        case controls.Ahead():
            return Ahead(control, rest)
        case controls.HeldButtons():
            return HeldButtons(control, rest, ranks)
        case controls.Following():
            return Following(control, rest)
        case controls.CrossingShows():
            return CrossingShows(control, rest)
