"""Chains to be miswired, the ways of doing it, and whether what the finder says is the truth."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

from bridge.check import check_text
from bridge.layout.model import Chain
from bridge.trial.find_edits import Explanation, Outcome
from tests.support.pretend_owner import RealChain, RealChip, as_filed, resolder

_BUILDS: Final = """\
layout: Fernhollow
builds:
  pixel: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 2}, yellow: {channel: 3}, red: {channel: 1}}}
  two-headed:
    chips: [ws2811, {type: ws2811, order: BRG}]
    heads:
      upper: {green: {channel: 1}, yellow: {channel: 2}, red: {channel: 3}}
      lower: {green: {chip: 2, channel: 1}, red: {chip: 2, channel: 2}}
  two-colour:
    chips: [ws2811]
    lamps:
      red: {channel: 1, lens: only}
      green: {channel: 2, lens: only}
      yellow: {mix: {red: 100%, green: 45%}, lens: only}
  dwarf: {chips: [ws2811], lamps: {lunar: {channel: 2}, red: {channel: 1}}}
  dwarf-across: {chips: [ws2811, ws2811], lamps: {lunar: {chip: 2, channel: 1}, red: {channel: 1}}}
  mill: {chips: [sk6812-rgbw, sk6812-rgbw], lamps: {attic: {full-colour: 2}, parlour: {full-colour: 1}}}
  roof:
    chips: [ws2811]
    lamps:
      near: {channel: 1, colour: warm-white, supply: 12 V, inverted: true}
      far: {channel: 2, colour: warm-white, supply: 12 V, inverted: true}
  street: {chips: [ws2811], lamps: {lamps: {colour: amber, channels: [{channel: 1}, {channel: 2}, {channel: 3}]}}}
nodes:
  tarn:
    chains:
      - name: yard
        fixtures:
"""

CHAINS: Final[dict[str, tuple[str, ...]]] = {
    "bench": ("pixel", "three-lamp"),
    "ladder": ("three-lamp",) * 5 + ("pixel",) * 3,
    "village": ("pixel",) * 24,
    "station": (
        *("pixel", "two-headed", "three-lamp", "two-colour", "dwarf", "dwarf-across shares"),
        *("three-lamp", "roof", "street", "two-headed", "pixel", "pixel"),
    ),
    "mixed": ("pixel", "mill", "three-lamp", "mill", "pixel", "three-lamp", "two-headed", "pixel"),
    "line": ("three-lamp", "pixel") * 25,
}
"""Chains by name: the builds of their fixtures in order."""


def text_of(builds: tuple[str, ...]) -> str:
    """Return a layout file with one chain of fixtures called T1, T2 and so on."""
    lines = []
    for number, build in enumerate(builds, start=1):
        name, _, shares = build.partition(" ")
        shared = f", shares: T{number - 1}, first-channel: 3" if shares else ""
        lines.append(f"          - {{name: T{number}, build: {name}{shared}}}\n")
    return _BUILDS + "".join(lines)


def chain_of(builds: tuple[str, ...]) -> Chain:
    """Return that chain."""
    checked = check_text(text_of(builds))
    assert checked.layout is not None, [each.line("it") for each in checked.findings]
    return checked.layout.chains[0]


def chance_of(seed: int | str) -> random.Random:
    """Return chance that is the same every time."""
    return random.Random(seed)  # noqa: S311 - nothing is kept secret with it


@cache
def chain(name: str) -> Chain:
    """Return one of `CHAINS`."""
    return chain_of(CHAINS[name])


def permuted(real: RealChain, chance: random.Random) -> None:
    """Let the bytes of one chip light its lights in another order."""
    at = chance.randrange(len(real.chips))
    order = list(range(len(real.chips[at].lights)))
    chance.shuffle(order)
    real.chips[at] = resolder(real.chips[at], order)


def all_permuted(real: RealChain, chance: random.Random) -> None:
    """Let the bytes of all chips that are three wide arrive in one other order."""
    order = [0, 1, 2]
    chance.shuffle(order)
    real.chips = [resolder(chip, order) if len(chip.lights) == 3 else chip for chip in real.chips]


def each_permuted(real: RealChain, chance: random.Random) -> None:
    """Let the bytes of every chip arrive in an order of its own."""
    for at, chip in enumerate(real.chips):
        order = list(range(len(chip.lights)))
        chance.shuffle(order)
        real.chips[at] = resolder(chip, order)


def swapped(real: RealChain, chance: random.Random) -> None:
    """Let two chips stand in each other's places."""
    one, other = chance.randrange(len(real.chips)), chance.randrange(len(real.chips))
    real.chips[one], real.chips[other] = real.chips[other], real.chips[one]


def neighbours_swapped(real: RealChain, chance: random.Random) -> None:
    """Let two chips next to each other stand in each other's places."""
    if len(real.chips) > 1:
        at = chance.randrange(len(real.chips) - 1)
        real.chips[at : at + 2] = real.chips[at : at + 2][::-1]


def moved(real: RealChain, chance: random.Random) -> None:
    """Let one chip stand elsewhere."""
    chip = real.chips.pop(chance.randrange(len(real.chips)))
    real.chips.insert(chance.randrange(len(real.chips) + 1), chip)


def missing(real: RealChain, chance: random.Random) -> None:
    """Leave one chip out of the line."""
    real.chips.pop(chance.randrange(len(real.chips)))


def surplus(real: RealChain, chance: random.Random) -> None:
    """Put a chip on the line that the file does not have."""
    real.chips.insert(chance.randrange(len(real.chips) + 1), RealChip(-1, (None, None, None)))


def dead(real: RealChain, chance: random.Random) -> None:
    """Let one chip show nothing, and hand on the data."""
    at = chance.randrange(len(real.chips))
    real.chips[at] = replace(real.chips[at], shows=False)


def ended(real: RealChain, chance: random.Random) -> None:
    """Let the data end in one chip, which shows nothing itself."""
    at = chance.randrange(len(real.chips))
    real.chips[at] = replace(real.chips[at], shows=False, passes=False)


def reversed_(real: RealChain, chance: random.Random) -> None:
    """Let the data come in at the other end."""
    del chance
    real.chips.reverse()


WAYS: Final = {
    way.__name__.strip("_"): way
    for way in (
        *(permuted, all_permuted, each_permuted, swapped, neighbours_swapped, moved),
        *(missing, surplus, dead, ended, reversed_),
    )
}


@dataclass(frozen=True, slots=True)
class Case:
    """A chain, and how it was really soldered."""

    chain: Chain
    real: RealChain
    ways: tuple[str, ...]


def by_chance(chance: random.Random, chains: tuple[str, ...] = tuple(CHAINS)) -> Case:
    """Miswire one of the chains in up to three ways."""
    filed = chain(chance.choice(chains))
    ways = tuple(chance.choice(list(WAYS)) for _ in range(chance.choice((0, 1, 1, 1, 2, 2, 3))))
    real = as_filed(filed)
    for way in ways:
        if real.chips:
            WAYS[way](real, chance)
    return Case(filed, real, ways)


def soldered(filed: Chain, explanation: Explanation) -> RealChain:
    """Solder a chain as an explanation has it."""
    sound = as_filed(filed).chips
    found = RealChain()
    for link in explanation.links:
        if link.chip < 0:
            found.chips.append(RealChip(-1, (None,) * link.width))
            continue
        if not link.data and (not found.chips or found.chips[-1].passes):
            found.chips.append(RealChip(-1, (), passes=False))  # a wire that is cut
        chip, order = sound[link.chip], filed.chips[link.chip].order
        real = resolder(chip, [order[channel] for channel in link.channels])
        found.chips += [replace(real, shows=link.shows, passes=link.data)] * (1 + link.double)
    return found


def untrue(case: Case, outcome: Outcome, *, coloured: bool = True) -> str:
    """Return in which way an outcome is not the truth; empty if it is.

    Every explanation has to give the same as the truth for every picture of one byte, and one of them has to have the
    same chips in the same order, as far as anything lights.
    """
    length = case.chain.length + 12
    truth = case.real.answers(length, coloured=coloured)
    for number, explanation in enumerate(outcome.explanations):
        other = soldered(case.chain, explanation).answers(length, coloured=coloured)
        if other != truth:
            byte = next(at for at, (one, two) in enumerate(zip(truth, other, strict=True)) if one != two) - 1
            return f"explanation {number} shows {other[byte + 1]} for byte {byte}, and the truth is {truth[byte + 1]}"
    found = [_slots(soldered(case.chain, each)) for each in outcome.explanations]
    lit, dark = _slots(case.real)
    if any(lit == other and dark <= named for other, named in found):
        return ""
    return f"the chips are {lit}, dark ones {sorted(dark)}, and it says {found}"


def _slots(real: RealChain) -> tuple[list[int], set[int]]:
    """Return the chips in order up to the last that lights, -1 for each dark one, and which of these are in the file.

    Which of two dark chips comes first, and whether a dark one is the file's or a stranger, nobody can see.
    """
    names: list[int] = []
    dark: list[int] = []
    last = 0
    for chip in real.chips:
        bright = chip.shows and any(chip.lights)
        names.append(chip.name if bright else -1)
        dark.append(chip.name)
        if not chip.passes:
            break
        last = len(names) if bright else last
    return names[:last], {name for name in dark[:last] if name >= 0 and name not in names[:last]}
