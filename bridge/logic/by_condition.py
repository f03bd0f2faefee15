"""What goes by conditions: lights, zones that are dimmed together, and the switch that stills all flashing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from bridge.layout.conditions import Condition, leaves
from bridge.layout.model import OFF, ON, Light, WhenUnknown
from bridge.layout.zones import Zone
from bridge.logic.conditions import ask, keys_of, placed
from bridge.logic.known import Fact, Key, Known
from bridge.logic.reasons import Choice
from bridge.logic.working_out import in_order

NO_ROW: Final = "nothing changes it"


class ByCondition:
    """A control that goes by conditions: the first row of which the condition holds counts.

    Where it is not known whether a row holds, those below it are not looked at.

    Attributes:
        keys: what it has to hear of.
        leaves: all that its conditions go by.
    """

    def __init__(
        self,
        name: str,
        rows: Iterable[tuple[Condition, str]],
        otherwise: str,
        *,
        unknown: str | None,
        restores: bool = False,
    ) -> None:
        """Make a control.

        Args:
            name: of the device, by which it gets its own part of a spread.
            rows: conditions, each with what is shown while it holds.
            otherwise: what is shown while none does, and at the start where nothing is known.
            unknown: what is shown where nobody knows; None is to stay as it is.
            restores: believe orders from before a restart.
        """
        self._rows = tuple((placed(condition, name), aspect) for condition, aspect in rows)
        self.leaves = tuple(leaf for condition, _aspect in self._rows for leaf in leaves(condition))
        self.keys: tuple[Key, ...] = tuple(
            dict.fromkeys(key for leaf in self.leaves for key in keys_of(leaf))
        )
        self._otherwise = otherwise
        self._unknown = unknown
        self._restores = restores
        self._stays = otherwise

    def hear(self, key: Key, fact: Fact) -> None:
        """Take a new fact: it is known already."""

    def lose(self, source: str, event: int) -> bool:
        """Take it that a source is no longer heard: what it told is forgotten already."""
        del source, event
        return False

    def choose(self, known: Known) -> Choice:
        """Return what the device shall show by what is known now."""
        words: list[str] = []
        causes: list[int] = []
        for condition, aspect in self._rows:
            answer = ask(condition, known, restores=self._restores)
            causes += answer.causes
            if answer.holds is None:
                return Choice(self._unknown or self._stays, answer.words, in_order(causes))
            if answer.holds:
                self._stays = aspect
                return Choice(aspect, answer.words, in_order(causes))
            words.append(answer.words)
        self._stays = self._otherwise
        return Choice(self._otherwise, "; ".join(dict.fromkeys(words)) or NO_ROW, in_order(causes))

    def state(self) -> list[Any]:
        """Return what it shows where it stays as it is, as plain data."""
        return [self._stays]

    def set_state(self, data: list[Any]) -> None:
        """Take back what `state` gave; raise ValueError if it is none."""
        [stays] = data
        if stays not in (self._otherwise, *(aspect for _condition, aspect in self._rows)):
            raise ValueError(f"{stays!r} is nothing that is shown here")
        self._stays = str(stays)


def of_light(light: Light) -> ByCondition:
    """Return the control of a light."""
    unknown = {WhenUnknown.HOLD: None, WhenUnknown.OFF: OFF, WhenUnknown.ON: ON}[light.when_unknown]
    return ByCondition(light.name, [(light.when, ON)], OFF, unknown=unknown, restores=light.restores)


def of_zone(zone: Zone) -> ByCondition:
    """Return the control of a zone; what it shows are levels, as text. What nobody knows leaves it as it is."""
    rows = [(row.when, str(row.level)) for row in zone.rows]
    return ByCondition(zone.name, rows, str(zone.level), unknown=None)


def of_still(condition: Condition) -> ByCondition:
    """Return the control of the switch that stills all flashing: while nobody knows, it does."""
    return ByCondition("still", [(condition, ON)], OFF, unknown=ON)
