"""Lights that are no signals: what their lamps show when they are on, steadily or by the tapes of an effect."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import groupby, pairwise
from typing import Final, NamedTuple

from bridge.layout.effects.families import WarmUp
from bridge.layout.findings import warning
from bridge.layout.model import OFF, ON, Fixture, Flash, Head, Lamp, LampKind, Light, Shown
from bridge.layout.targets import Temperature
from bridge.layout.units import FULL_LEVEL
from bridge.light.chance import mixed, seed_of
from bridge.light.effects import compose, flashes, stilled
from bridge.light.filament import Filament, filament
from bridge.light.palette import Palette, light_lamp, not_dimmable
from bridge.light.plans import DevicePlan, Look, Play, filaments, flash_tape
from bridge.light.tapes import UNIT, Score, Tape
from bridge.light.wires import lenses_of, wires_of

ONE_STEADY_HUE: Final = 1

COOLEST: Final = 1000
KELVIN_STEP: Final = 200
"""Temperatures of a filament at which its colour is worked out, kelvin; below the first it hardly gives light."""


class _Lit(NamedTuple):
    """One lamp of a light when it is on.

    Attributes:
        wires: its channels, by their index within the light.
        levels: the linear level of each, at the full light of its tape.
        tapes: what each plays; none if the lamp is steady.
        still: the level of each where nothing may flash.
    """

    wires: tuple[int, ...]
    levels: tuple[int, ...]
    tapes: tuple[Tape, ...]
    still: tuple[int, ...]


def plan_light(light: Light, fixtures: dict[str, Fixture], palette: Palette) -> DevicePlan:
    """Work out what a light can show; what it cannot is noted on the palette."""
    places: list[tuple[int, int]] = []
    dimmable: list[bool] = []
    lenses: list[int] = []
    lamps: list[tuple[Head, Lamp, dict[int, int]]] = []
    for name, group in groupby(light.lamps, key=lambda place: place.fixture):
        fixture, own = fixtures[name], [(place.head, place.lamp) for place in group]
        wires = wires_of(fixture, own)
        index = {wire.offset: len(places) + number for number, (wire, _lamp) in enumerate(wires)}
        heads = {head.name: head for head in fixture.heads}
        for head, lamp in own:
            found = fixture.lamp(head, lamp)
            lamps.append((heads[head], found, index))
            if light.shows.level < FULL_LEVEL and not found.dimmable:
                palette.findings.append(warning(light.shows.mark, not_dimmable(lamp, fixture)))
        lenses += [len(places) + lens for lens in lenses_of(fixture, wires)]
        places += [(fixture.chain, wire.offset) for wire, _lamp in wires]
        dimmable += [lamp.dimmable for _wire, lamp in wires]
    scores = _scores(light)
    stills = _stills(light)
    lit = [
        _lit(light, head, lamp, index, score, still, palette)
        for (head, lamp, index), score, still in zip(lamps, scores, stills, strict=True)
    ]
    dark = (0,) * len(places)
    return DevicePlan(
        name=light.name,
        places=tuple(places),
        dimmable=tuple(dimmable),
        lenses=tuple(lenses),
        looks={OFF: Look(dark, dark), ON: _on(light, lit, scores, dimmable)},
        rest=OFF,
        change=light.change,
        flash=flash_tape(Flash(), light.change),
        filaments=_filaments(light, lamps, len(places), palette),
        delays=_delays(light, lit, len(places)),
    )


def _scores(light: Light) -> tuple[Score | None, ...]:
    if light.effect is None:
        return (None,) * len(light.lamps)
    return compose(light.effect, len(light.lamps), seed_of(light.name))


def _stills(light: Light) -> tuple[int, ...]:
    if light.effect is None:
        return (UNIT,) * len(light.lamps)
    return stilled(light.effect, len(light.lamps))


def _on(light: Light, lit: Sequence[_Lit], scores: Sequence[Score | None], dimmable: Sequence[bool]) -> Look:
    """Put the lamps of a light together; a channel that several of them use belongs to the first that plays on it."""
    levels, still, taken = [0] * len(dimmable), [0] * len(dimmable), set[int]()
    plays = list[Play]()
    for lamp, score in zip(lit, scores, strict=True):
        if score is not None and lamp.tapes:
            own = [place for place, wire in enumerate(lamp.wires) if wire not in taken]
            taken.update(lamp.wires)
            if own:
                wires, tapes = [lamp.wires[place] for place in own], [lamp.tapes[place] for place in own]
                plays.append(Play(tuple(wires), tuple(tapes), score.shift))
        for wire, level, steady in zip(lamp.wires, lamp.levels, lamp.still, strict=True):
            levels[wire] = max(levels[wire], level)
            still[wire] = max(still[wire], steady)
    whole = tuple(
        FULL_LEVEL if level and not dims else level for level, dims in zip(levels, dimmable, strict=True)
    )
    stilled_look = tuple(
        FULL_LEVEL if level and not dims else level for level, dims in zip(still, dimmable, strict=True)
    )
    moves = light.effect is not None and flashes(light.effect)
    unlit = tuple(0 if wire in taken else level for wire, level in enumerate(whole))
    return Look(whole, unlit, tuple(plays), stilled_look if moves else None)


def _lit(
    light: Light,
    head: Head,
    lamp: Lamp,
    index: dict[int, int],
    score: Score | None,
    still: int,
    palette: Palette,
) -> _Lit:
    shows = light.shows
    hues = score.hues if score is not None and lamp.kind is LampKind.FULL_COLOUR else ()
    if len({hue for _sample, hue in hues}) == ONE_STEADY_HUE and shows.word != ON:
        hues = ()  # an effect of one colour has that which its owner asks for
    words = [hue for _sample, hue in hues] or [shows.word]
    mixtures = []
    for word in words:
        found = light_lamp(lamp, Shown(word, shows.level, shows.mark), head, palette)
        if isinstance(found, str):
            palette.error(shows.mark, f"{light.name} cannot be lit so: {found}")
            return _Lit((), (), (), ())
        mixtures.append(found)
    wires = tuple(index[offset] for offset, _level in mixtures[0])
    rows = tuple(tuple(level for _offset, level in mixture) for mixture in mixtures)
    if score is None:
        return _Lit(wires, rows[0], (), rows[0])
    steady = rows[-1] if isinstance(light.effect, WarmUp) else rows[0]
    stands = tuple(level * still // UNIT for level in steady)
    if len(rows) == ONE_STEADY_HUE:
        return _Lit(wires, rows[0], (score.tape,) * len(wires), stands)
    stops = tuple(sample for sample, _hue in hues)
    channels = tuple(_coloured(score.tape, stops, way) for way in zip(*rows, strict=True))
    return _Lit(
        wires, tuple(peak for peak, _tape in channels), tuple(tape for _peak, tape in channels), stands
    )


@cache
def _coloured(tape: Tape, stops: tuple[int, ...], levels: tuple[int, ...]) -> tuple[int, Tape]:
    """Return what one channel of a lamp gives that changes its colour as it plays: its brightest level, and its tape.

    Args:
        tape: the light of the lamp.
        stops: the samples at which each colour is pure, rising.
        levels: the level of this channel in each of these colours.
    """
    peak = max(levels)
    if peak == 0:
        return 0, tape
    places = [*zip(stops, levels, strict=True)]
    shares = [levels[0]] * max(stops[0], 0)
    for (first, before), (last, after) in pairwise(places):
        shares += [before + (after - before) * step // (last - first) for step in range(last - first)]
    shares += [levels[-1]] * (len(tape.samples) - len(shares))
    samples = tuple(
        (2 * sample * share + peak) // (2 * peak) for sample, share in zip(tape.samples, shares, strict=False)
    )
    return peak, Tape(samples, tape.period, tape.loops, tape.smooth)


def _filaments(
    light: Light, lamps: Sequence[tuple[Head, Lamp, dict[int, int]]], wires: int, palette: Palette
) -> tuple[Filament, ...]:
    """Return how each channel warms up and cools down: that of a white lamp is red while it is not hot yet."""
    found = list(filaments(light.change, wires))
    for _head, lamp, index in lamps if found else ():
        if lamp.kind is not LampKind.FULL_COLOUR:
            continue
        target = palette.target(light.shows.word if light.shows.word != ON else lamp.colour)
        if isinstance(target, Temperature):
            for wire in lamp.wires:
                hues = _glowing(target.kelvin, wire.die, lamp, palette)
                found[index[wire.offset]] = filament(light.change.time, hues)
    return tuple(found)


def _glowing(nominal: int, die: str, lamp: Lamp, palette: Palette) -> tuple[tuple[int, int], ...]:
    """Return how much of a filament's light a die gives, beside what it gives at full heat; nothing if it is dark then.

    Returns:
        For temperatures in thousandths of the nominal one, rising, the die's part in parts of `UNIT`.
    """
    hot = palette.mixture(f"{nominal} K", lamp)
    if hot is None or not hot.level(die):
        return ()
    hues = []
    for kelvin in (*range(COOLEST, nominal, KELVIN_STEP), nominal):
        glow = palette.mixture(f"{kelvin} K", lamp)
        if glow is not None and glow.light:
            part = UNIT * glow.level(die) * hot.light // (hot.level(die) * glow.light)
            hues.append((1000 * kelvin // nominal, part))
    return tuple(hues)


def _delays(light: Light, lit: Sequence[_Lit], wires: int) -> tuple[int, ...]:
    """Return how much later each channel comes on and goes out; each lamp of a light has its own time."""
    if not light.spread:
        return ()
    delays, seed = [0] * wires, seed_of(light.name)
    for number, lamp in enumerate(lit):
        for wire in lamp.wires:
            delays[wire] = mixed(seed, number) * (light.spread + 1) >> 64
    return tuple(delays)
