"""A chain as it was really soldered, and an owner who looks at it and types what is to be seen.

Written from the data sheets' side and without the finder: each chip takes its bytes off the stream and hands on the
rest, and each output lights what hangs on it. Names are the owner's: fixture, head, lamp, colour.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from bridge.layout.model import Chain
from bridge.trial.find_dialogue import Dialogue

COLOURS: Final = {"R": "red", "G": "green", "B": "blue", "W": "white"}


@dataclass(frozen=True, slots=True)
class Light:
    """Something that shines: where, what, and from which place on its mast, counted from the top."""

    fixture: str
    head: str
    lamp: str
    colour: str
    hole: int
    holes: int
    inverted: bool = False
    dead: bool = False

    def said(self, *, coloured: bool) -> str:
        """Return what the owner calls it."""
        if coloured:
            return " ".join(word for word in (self.fixture, self.head, self.lamp, self.colour) if word)
        places = {1: [""], 2: ["top", "bottom"], 3: ["top", "middle", "bottom"]}.get(
            self.holes, [f"place {number + 1}" for number in range(self.holes)]
        )
        return f"{self.fixture} {places[self.hole]}".strip()


@dataclass(frozen=True, slots=True)
class RealChip:
    """A chip on the line: for each of its bytes what it lights.

    Attributes:
        name: its number in the file, or -1 if it is not there.
        lights: by byte.
        shows: False if it is dead, and yet hands on the data.
        passes: False if nothing behind it gets data.
    """

    name: int
    lights: tuple[Light | None, ...]
    shows: bool = True
    passes: bool = True


@dataclass(slots=True)
class RealChain:
    """Chips in the order of the line."""

    chips: list[RealChip] = field(default_factory=list)

    def lit(self, picture: bytes) -> list[Light | None]:
        """Return all that shines; None for a light that the file does not have."""
        found: list[Light | None] = []
        rest, flowing = picture, True
        for chip in self.chips:
            width = len(chip.lights)
            own, rest = (rest[:width], rest[width:]) if flowing else (b"", rest)
            flowing = flowing and chip.passes
            if not chip.shows:
                continue
            for number, light in enumerate(chip.lights):
                byte = own[number] if number < len(own) else 0  # as it comes up: outputs off
                if chip.name < 0:
                    found += [None] * bool(byte)
                elif light is not None and not light.dead and (byte < 128 if light.inverted else byte >= 128):
                    found.append(light)
        return found

    def answers(self, length: int, *, coloured: bool) -> list[tuple[str, ...]]:
        """Return what is seen of every picture of one byte, and of none: chains with the same cannot be told apart."""
        pictures = [bytes(length)] + [
            bytes(255 * (at == byte) for at in range(length)) for byte in range(length)
        ]
        return [
            tuple(sorted({light.said(coloured=coloured) for light in self.lit(picture) if light is not None}))
            for picture in pictures
        ]


def as_filed(chain: Chain) -> RealChain:
    """Solder a chain just as the file has it."""
    found = RealChain()
    for number, chip in enumerate(chain.chips):
        lights: list[Light | None] = [None] * chip.type.channels
        fixtures = [each for each in chain.fixtures if chip.position in each.positions]
        for fixture in fixtures:
            holes: list[tuple[str, str, str]] = []
            for head in fixture.heads:
                for lamp in head.lamps:
                    hole = head.name, lamp.lens, "" if lamp.lens else lamp.name
                    if lamp.wires and hole not in holes:
                        holes.append(hole)
            for head in fixture.heads:
                for lamp in head.lamps:
                    hole = head.name, lamp.lens, "" if lamp.lens else lamp.name
                    for wire in lamp.wires:
                        if wire.chip == chip.position:
                            lights[wire.offset - chip.offset] = Light(
                                fixture.name,
                                head.name,
                                lamp.name,
                                COLOURS[wire.die] if lamp.kind == "full-colour" else "",
                                holes.index(hole),
                                len(holes),
                                wire.inverted,
                            )
        found.chips.append(RealChip(number, tuple(lights)))
    return found


def resolder(chip: RealChip, order: Sequence[int]) -> RealChip:
    """Let each byte light what another one lit."""
    return replace(chip, lights=tuple(chip.lights[byte] for byte in order))


class Owner:
    """Looks at the layout and answers.

    Attributes:
        errs: one answer in so many is wrong in one light, which is overlooked or taken for another; 0 for never.
        blind_to: fixtures that the owner cannot see.
    """

    def __init__(
        self,
        real: RealChain,
        *,
        coloured: bool = True,
        errs: int = 0,
        chance: random.Random | None = None,
        blind_to: frozenset[str] = frozenset(),
    ) -> None:
        self.real = real
        self.coloured = coloured
        self.errs = errs
        self.errors = 0
        self.blind_to = blind_to
        self._chance = chance or random.Random(1)  # noqa: S311 - nothing is kept secret with it
        lights = [light for chip in real.chips for light in chip.lights if light is not None]
        self._all = sorted({light.said(coloured=coloured) for light in lights})

    def answer(self, dialogue: Dialogue) -> str:
        """Return the line that is typed."""
        question = dialogue.finder.question
        assert question is not None
        hidden = [
            str(place)
            for place, number in enumerate(question.expected, start=1)
            if dialogue.finder.sight(number).fixture in self.blind_to
        ]
        return self.answer_to(question.picture, hidden)

    def answer_to(self, picture: bytes, hidden: Sequence[str] = ()) -> str:
        """Return the line that is typed where the data line carries this; `hidden`: numbers that cannot be seen."""
        lit = [
            light for light in self.real.lit(picture) if light is None or light.fixture not in self.blind_to
        ]
        seen = sorted({light.said(coloured=self.coloured) for light in lit if light is not None})
        if seen and self.errs and not self._chance.randrange(self.errs):
            self.errors += 1
            seen.remove(wrong := self._chance.choice(seen))
            alike = [each for each in self._all if each.split()[0] == wrong.split()[0] and each not in seen]
            seen += [self._chance.choice(alike)] * self._chance.randrange(2)
        parts = (
            [f"+ {each}" for each in seen] + ["other"] * (None in lit) + [f"{place} ?" for place in hidden]
        )
        return f"only {', '.join(parts)}" if parts else "nothing"


def hold(dialogue: Dialogue, owner: Owner, *, at_most: int = 2000) -> int:
    """Let the owner answer until nothing more is asked; return how many answers it took."""
    answers = 0
    while not dialogue.finished:
        answers += 1
        assert answers <= at_most, "the finder does not come to an end"
        said = dialogue.say(owner.answer(dialogue))
        assert said == "", said
    return answers
