"""How long a light character is lit and dark, phase by phase.

The notation gives the class, the number of flashes and the period. The limits of each class are those of Chart No. 1
(INT 1), P 10.1 to P 10.11. What they leave open is filled in here, unless the owner says it:

- flashes last a tenth of the period, rounded down to a usual figure and at least 0.3 s, which gives 0.3, 0.4 and 0.6 s
  for 2.5, 4 and 6 s; within a group it is dark for two flashes, between the parts of a group for three times that;
- eclipses take a quarter of the period and 2 s at the most, in a group a twelfth, and as much light lies between them;
  what is left is shared by the long lights (the standard table of characters: `Oc 12 s`, `Oc(2) 13 s`, `Oc(2+1) 12 s`);
- quick lights flash 60, very quick ones 120, ultra quick ones 240 times a minute, which Chart No. 1 calls usual;
- a long flash lasts 2 s, the least that P 10.5 allows; the dark that interrupts quick flashes 3 s, or a third of the
  period if that is more; a dot of Morse code 0.5 s, or less where the period is short.

But for the limits these are common practice, without a source of their own. Times are counted in hundredths of
a second here, so that every period of the notation divides into them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from bridge.events import MILLISECOND
from bridge.layout.effects.characters import Character, NotationError
from bridge.layout.effects.families import Phase
from bridge.layout.effects.morse import BEHIND, length, marks
from bridge.layout.findings import said

HUNDREDTH: Final = 10 * MILLISECOND

SLOWEST_QUICK: Final = 120
"""Hundredths of a second: 50 flashes a minute, below which a light is flashing and from which on it is quick."""

PITCHES: Final = {"Q": (100, 3, 10), "VQ": (50, 2, 5), "UQ": (25, 2, 5)}
"""Hundredths of a second from one quick flash to the next, and the share of it that is lit."""

LIMITS: Final = {"Q": (76, 120, "50 to 79"), "VQ": (38, 75, "80 to 159"), "UQ": (20, 37, "160 to 300")}
"""The periods of quick lights, and the flashes a minute that they are."""

USUAL: Final = (200, 100, 80, 60, 50, 40, 30, 20, 10)
"""Usual lengths of a flash or an eclipse, hundredths of a second."""

SHORT: Final = 10
"""Hundredths of a second: so short a mark is for Morse code and ultra quick lights alone, unless it is asked for."""

SHORTEST: Final = 40
"""Hundredths of a second: what changes more often than that is no light to go by, and hard to look at."""

LONG: Final = 200
INTERRUPTED: Final = 300
LOW: Final = 20
"""Hundredths of full light that a fixed and flashing light has between its flashes."""

Times = list[tuple[int, bool]]
"""How long it is lit or dark, in hundredths of a second, and which of the two."""


def phases(character: Character, flash: int | None = None, eclipse: int | None = None) -> tuple[Phase, ...]:
    """Return one period of a light character; of a fixed light, any one second of it.

    Args:
        character: what the notation says.
        flash: how long a flash is lit, hundredths of a second; a dot, in Morse code.
        eclipse: how long it is dark within a group, or how long an occulting light is dark, hundredths of a second.

    Raises:
        NotationError: no light of this class can be so; at the class or the period.
    """
    if character.rhythm == "F" and not character.alternating:
        return (Phase(100 * HUNDREDTH, 100, _hue(character, 0)),)
    rounds = len(character.colours) if character.alternating else 1
    whole = _Working(character, flash, eclipse).period()
    found = list[Phase]()
    shortest = whole // rounds
    for turn in range(rounds):
        length_of_turn = whole * (turn + 1) // rounds - whole * turn // rounds
        hue = _hue(character, turn)
        dark = LOW if character.rhythm == "FFl" else 0
        evenly = character.rhythm in ("F", "Iso")
        for time, lit in _Working(character, flash, eclipse).times(length_of_turn if evenly else shortest):
            found.append(Phase(time * HUNDREDTH // 2, 100 if lit else dark, hue if lit or dark else ""))
        if not evenly:
            last = found[-1]
            found[-1] = last._replace(time=last.time + (length_of_turn - shortest) * HUNDREDTH)
    return tuple(found)


def _hue(character: Character, turn: int) -> str:
    """Return the colour of a turn; several that do not alternate are sectors, and none of them is meant here."""
    if character.alternating or len(character.colours) == 1:
        return character.colours[turn]
    return ""


class _Working:
    """One character being worked out; `times` counts in halves of a hundredth, since an isophase period may be odd."""

    def __init__(self, character: Character, flash: int | None, eclipse: int | None) -> None:
        self._character = character
        self._flash = flash
        self._eclipse = eclipse

    def period(self) -> int:
        """Return the period, in hundredths of a second."""
        character = self._character
        if character.period is not None:
            return character.period
        if character.rhythm in PITCHES and character.group == (1,):
            return PITCHES[character.rhythm][0]
        if character.rhythm == "Mo":
            return (length(character.letters) + BEHIND) * (self._flash or 50)
        raise self._refusal("a period is missing: write one behind it, such as 10s")

    def times(self, period: int) -> Times:
        """Return one turn of so many hundredths of a second, in halves of a hundredth."""
        match self._character.rhythm:
            case "F" | "Iso" if period < SHORTEST:
                raise self._refusal(
                    f"each of its colours takes at least {_seconds(SHORTEST)}: write a longer period"
                )
            case "F":
                found: Times = [(period, True)]
            case "Iso":
                return [(period, True), (period, False)]
            case "Fl" | "FFl":
                found = self._flashing(period)
            case "LFl":
                found = self._long(period)
            case "Oc":
                found = self._occulting(period)
            case "Mo":
                found = self._morse(period)
            case "Q" | "VQ" | "UQ":
                found = self._quick(period)
            case _:
                found = self._interrupted(period)
        return [(2 * time, lit) for time, lit in found]

    def _flashing(self, period: int) -> Times:
        group = self._character.group
        if group == (1,) and period <= SLOWEST_QUICK:
            raise self._refusal(
                "50 flashes a minute or more are quick: write Q, or a period of more than 1.2s"
            )
        most = max(period // 10, 30)
        for flash in (
            [self._flash] if self._flash else [each for each in USUAL if SHORT < each <= min(most, 100)]
        ):
            within = self._eclipse or 2 * flash
            found = _grouped(group, (flash, True), (within, False), (3 * within, False))
            lit = flash * sum(group)
            dark = period - sum(time for time, _lit in found)
            longest = max((time for time, is_lit in found if not is_lit), default=flash)
            if 2 * dark >= 3 * longest and dark > flash and lit < period - lit:
                return [*found, (dark, False)]
        raise self._refusal(self._too_short("flashes"))

    def _long(self, period: int) -> Times:
        flash = self._flash or LONG
        if flash < LONG:
            raise self._refusal("a long flash lasts 2 s or more")
        if period <= 2 * flash:
            raise self._refusal(
                f"it would be lit for {_seconds(flash)} and not be dark for longer: write a longer period"
            )
        return [(flash, True), (period - flash, False)]

    def _occulting(self, period: int) -> Times:
        group = self._character.group
        most = period // 4 if group == (1,) else period // 12
        for eclipse in [self._eclipse] if self._eclipse else [each for each in USUAL if SHORT < each <= most]:
            within = self._flash or eclipse
            parts = [[(eclipse, False), (within, True)] * (number - 1) for number in group]
            used = sum(time for part in parts for time, _lit in part) + eclipse * len(group)
            left = (period - used) // len(group)
            dark = eclipse * sum(group)
            if (left >= 2 * within or sum(group) == 1) and left > 0 and dark < period - dark:
                found = [each for part in parts for each in (*part, (eclipse, False), (left, True))]
                rest = period - used - left * len(group)
                return [*found[:-1], (left + rest, True)]
        raise self._refusal(self._too_short("eclipses"))

    def _morse(self, period: int) -> Times:
        letters = self._character.letters
        for dot in [self._flash] if self._flash else [each for each in USUAL if each <= 50]:
            dark = period - length(letters) * dot
            if dark >= BEHIND * dot:
                found = [
                    each for lit, gap in marks(letters) for each in ((lit * dot, True), (gap * dot, False))
                ]
                return [*found[:-1], (dark, False)]
        raise self._refusal(self._too_short("letters"))

    def _quick(self, period: int) -> Times:
        rhythm, group = self._character.rhythm, self._character.group
        least, most, rates = LIMITS[rhythm]
        if group == (1,) and not self._character.long:
            if not least <= period <= most:
                raise self._refusal(
                    f"{rhythm} is {rates} flashes a minute: write a period from {_seconds(least)} to {_seconds(most)}, "
                    "or none"
                )
            return self._strokes(period, 1)
        pitch = PITCHES[rhythm][0]
        found = self._strokes(pitch, group[0])
        left = period - group[0] * pitch
        if self._character.long:
            found.append((LONG, True))
            left -= LONG
            if left < LONG:
                raise self._refusal(self._too_short("flashes"))
            return [*found, (left, False)]
        if left < pitch:
            raise self._refusal(self._too_short("flashes"))
        return [*found[:-1], (found[-1][0] + left, False)]

    def _interrupted(self, period: int) -> Times:
        pitch = PITCHES[self._character.rhythm.removeprefix("I")][0]
        number = (period - max(INTERRUPTED, period // 3)) // pitch
        if number < 3:
            raise self._refusal(self._too_short("flashes"))
        found = self._strokes(pitch, number)
        return [*found[:-1], (found[-1][0] + period - number * pitch, False)]

    def _strokes(self, pitch: int, number: int) -> Times:
        _usual, top, bottom = PITCHES[self._character.rhythm.removeprefix("I")]
        flash = self._flash or pitch * top // bottom
        if 2 * flash >= pitch:
            raise self._refusal(f"so quick a flash is lit for less than {_seconds(-(-pitch // 2))}")
        return [(flash, True), (pitch - flash, False)] * number

    def _too_short(self, what: str) -> str:
        return f"its {what} do not fit into its period: write a longer period" + (
            ", or shorter times" if self._flash or self._eclipse else ""
        )

    def _refusal(self, why: str) -> NotationError:
        return NotationError(
            self._character.at["period"], f"{said(self._character.text)} cannot be shown: {why}"
        )


def _grouped(
    group: Sequence[int], flash: tuple[int, bool], within: tuple[int, bool], between: tuple[int, bool]
) -> Times:
    """Return the flashes of a group with what lies between them, without what follows the last."""
    found: Times = []
    for place, number in enumerate(group):
        for stroke in range(number):
            if stroke:
                found.append(within)
            elif place:
                found.append(between)
            found.append(flash)
    return found


def _seconds(hundredths: int) -> str:
    whole, rest = divmod(hundredths, 100)
    return f"{whole}.{rest:02}".rstrip("0").rstrip(".") + " s"
