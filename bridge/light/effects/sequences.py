"""Light that goes from lamp to lamp: chases, programmes, beacons of several colours."""

from __future__ import annotations

from bridge.layout.effects.families import Beacon, Chase, Direction, Phase, Programme
from bridge.light.chance import Draws
from bridge.light.effects.rows import edges, tape_of_steps
from bridge.light.tapes import UNIT, Score, Tape


def play_chase(effect: Chase, lamps: int, _seed: int) -> tuple[Score, ...]:
    """Return what each lamp plays: the same tape, later by one step a lamp; to and fro, a tape for each."""
    if effect.direction is Direction.TO_AND_FRO:
        return tuple(Score(_to_and_fro(effect, lamps, lamp)) for lamp in range(lamps))
    room = effect.every or lamps
    light = _spot(effect)
    tape = tape_of_steps(
        tuple((effect.step, light[step] if step < len(light) else 0) for step in range(room))
    )
    forward = effect.direction is Direction.FORWARD
    return tuple(
        Score(tape, shift=effect.step * (lamp if forward else lamps - 1 - lamp)) for lamp in range(lamps)
    )


def _spot(effect: Chase) -> list[int]:
    """Return the light of a spot from its head to the end of its tail, which goes down in about even lightness."""
    steps = effect.tail + 1
    tail = [UNIT * (steps - place) ** 3 // steps**3 for place in range(1, steps)]
    return [UNIT] * effect.lit + tail


def _to_and_fro(effect: Chase, lamps: int, lamp: int) -> Tape:
    light = _spot(effect)
    turns = max(1, 2 * (lamps - 1))
    steps = list[tuple[int, int]]()
    for turn in range(turns):
        behind = 0
        for back in range(len(light)):
            head = (turn - back) % turns
            at = head if head < lamps else turns - head
            if at == lamp:
                behind = max(behind, light[back])
        steps.append((effect.step, behind))
    return tape_of_steps(tuple(steps))


def play_programme(effect: Programme, lamps: int, _seed: int) -> tuple[Score, ...]:
    """Return what each lamp plays; lamps that are lit in the same steps share a tape."""
    return tuple(
        Score(
            tape_of_steps(
                tuple((step.time, UNIT if lamp in step.lit else 0) for step in effect.steps),
                loops=effect.loops,
            )
        )
        for lamp in range(lamps)
    )


def play_beacon(effect: Beacon, lamps: int, seed: int) -> tuple[Score, ...]:
    """Return what each lamp plays: the whole, or what has its own colour, in the colours of its phases."""
    period = sum(phase.time for phase in effect.phases)
    begins = 0 if effect.in_step else -Draws(seed, effect.kind).below(period)
    found = list[Score]()
    for lamp in range(lamps):
        own = effect.only[lamp]
        sector = effect.sectors[lamp] if effect.sectors else ""
        steps = tuple((phase.time, _light(phase, own)) for phase in effect.phases)
        tape = tape_of_steps(steps)
        found.append(Score(tape, _hues(effect.phases, steps, tape, sector), begins))
    return tuple(found)


def _light(phase: Phase, own: str) -> int:
    return UNIT * phase.light // 100 if own in ("", phase.hue) else 0


def _hues(
    phases: tuple[Phase, ...], steps: tuple[tuple[int, int], ...], tape: Tape, sector: str
) -> tuple[tuple[int, str], ...]:
    """Return the colours of a tape, so that none is mixed with the next: each at both ends of its phase."""
    if sector:
        return ((0, sector),)
    if not any(phase.hue for phase in phases):
        return ()
    found = list[tuple[int, str]]()
    for phase, (first, last) in zip(phases, edges(steps, tape), strict=True):
        if phase.hue:
            found += [(first, phase.hue)] + [(last, phase.hue)] * (last > first)
    hues = {hue for _sample, hue in found}
    return tuple(found) if len(hues) > 1 else ((0, found[0][1]),)
