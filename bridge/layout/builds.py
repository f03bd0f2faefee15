"""Builds: from what the owner wrote about a kind of fixture to lamps on channels."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bridge.layout.chips import CHIP_TYPES, ChipType, parse_order
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, count, said
from bridge.layout.model import Build, Head, Lamp, LampKind, Wire
from bridge.layout.schema import BuildEntry, ChipEntry, LampEntry, SolderedEntry, WireEntry
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL, volts

_NOT_BY_A_SINK = {
    "common-cathode": (
        "its outputs only pull current down to ground, and a common-cathode LED needs it pushed in: "
        "use a common-anode LED, or separate LEDs with their anodes on the supply"
    ),
    "two-lead": (
        "its outputs only pull current down to ground, and a two-lead bi-colour LED needs it reversed: "
        "use a three-lead common-anode LED, or two separate LEDs"
    ),
}


def read_builds(desk: Desk) -> dict[str, Build | None]:
    """Read the section `builds`; a build with errors is there as None, so that its users are not blamed."""
    builds: dict[str, Build | None] = {}
    for name, data, path in desk.section("builds"):
        entry = desk.entry(BuildEntry, data, path)
        builds[name] = None if entry is None else _Builder(desk, name, path).build(entry)
    return builds


class _Builder:
    """Reads one build; after any error the build as a whole is given up, with all its errors noted."""

    def __init__(self, desk: Desk, name: str, path: Path) -> None:
        self._desk = desk
        self._name = name
        self._path = path
        self._sound = True
        self._chips: list[ChipType] = []
        self._used: dict[tuple[int, int], str] = {}

    def build(self, entry: BuildEntry) -> Build | None:
        orders = [self._chip(data, (*self._path, "chips", index)) for index, data in enumerate(entry.chips)]
        if len(self._chips) < len(orders):
            return None
        if (entry.lamps is None) == (entry.heads is None):
            has = "neither" if entry.lamps is None else "both"
            self._wrong(self._path, f"a build needs `lamps` or `heads`, and {self._name!r} has {has}")
            return None
        heads: list[Head] = []
        if entry.lamps is not None:
            heads.append(self._head("", entry.lamps, (*self._path, "lamps")))
        for name, lamps in (entry.heads or {}).items():
            heads.append(self._head(name, lamps, (*self._path, "heads", name)))
        if not self._sound:
            return None
        return Build(self._name, tuple(self._chips), tuple(orders), tuple(heads), entry.trim)

    def _wrong(self, path: Path, message: str) -> None:
        self._sound = False
        self._desk.error(path, message)

    def _key_wrong(self, path: Path, message: str) -> None:
        self._sound = False
        self._desk.key_error(path, message)

    def _chip(self, data: Any, path: Path) -> tuple[int, ...] | None:
        entry = self._desk.entry(ChipEntry, {"type": data} if isinstance(data, str) else data, path)
        if entry is None:
            self._sound = False
            return None
        kind = CHIP_TYPES.get(entry.type)
        if kind is None:
            self._wrong(
                (*path, "type"), f"no chip is called {said(entry.type)}; {choice(entry.type, CHIP_TYPES)}"
            )
            return None
        self._chips.append(kind)
        if entry.order is None:
            return None
        try:
            return parse_order(kind, entry.order)
        except ValueError as problem:
            self._wrong((*path, "order"), str(problem))
            return None

    def _head(self, name: str, lamps: dict[str, LampEntry], path: Path) -> Head:
        return Head(
            name, tuple(self._lamp(lamp, entry, lamps, (*path, lamp)) for lamp, entry in lamps.items())
        )

    def _lamp(self, name: str, entry: LampEntry, head: dict[str, LampEntry], path: Path) -> Lamp:
        ways = [
            key for key in ("full_colour", "channel", "channels", "mix") if getattr(entry, key) is not None
        ]
        kind, wires = LampKind.LEDS, list[Wire]()
        if len(ways) != 1:
            has = f"has {' and '.join(_written(way) for way in ways)}" if ways else "has none of them"
            self._wrong(
                path, f"the lamp {name!r} needs one of full-colour, channel, channels or mix, and {has}"
            )
        elif entry.full_colour is not None:
            kind, wires = LampKind.FULL_COLOUR, self._full_colour(name, entry, path)
        elif entry.mix is not None:
            kind = LampKind.MIX
            self._mix(name, entry.mix, head, path)
        else:
            for each, where in _wire_entries(entry, path):
                wires += self._wire(name, each, where)
        self._needless(entry, kind, path)
        self._dimming(name, entry, kind, wires, path)
        self._wiring(entry, wires, path)
        return Lamp(
            name=name,
            kind=kind,
            colour=entry.colour or "",
            wires=tuple(replace(wire, least=entry.least) for wire in wires),
            mix=tuple((entry.mix or {}).items()),
            dimmable=entry.dimmable,
            lens=entry.lens or "",
            mark=self._desk.key_mark(path),
            colour_mark=self._desk.mark((*path, "colour")) if entry.colour else self._desk.key_mark(path),
            trim=entry.trim,
            mcd=entry.mcd or 0,
        )

    def _needless(self, entry: LampEntry, kind: LampKind, path: Path) -> None:
        """Refuse what is said of a lamp and could not count."""
        needless: dict[str, str] = {}
        if kind is LampKind.MIX:
            keys = (*SolderedEntry.model_fields, "wiring", "chip", "dimmable", "trim", "mcd", "least")
            needless = dict.fromkeys(keys, "say it of the lamps that are mixed")
        elif kind is LampKind.FULL_COLOUR:
            needless = {
                "chip": "`full-colour` says which chip it is",
                "mcd": "say it of the dies of this type of chip, at the top under `chips`",
            }
        for key, why in needless.items():
            if key in entry.model_fields_set:
                self._key_wrong((*path, _written(key)), f"`{_written(key)}` has no meaning here: {why}")

    def _dimming(self, name: str, entry: LampEntry, kind: LampKind, wires: list[Wire], path: Path) -> None:
        if entry.dimmable or kind is LampKind.MIX:
            return
        where = (*path, "dimmable")
        if kind is LampKind.FULL_COLOUR:
            self._wrong(
                where, f"the lamp {name!r} mixes its colours by dimming, so it cannot be switched only"
            )
        elif entry.trim != FULL_LEVEL:
            self._wrong(
                (*path, "trim"), f"the lamp {name!r} cannot be trimmed: what is switched only is at 100%"
            )
        elif any(wire.share != FULL_LEVEL for wire in wires):
            self._wrong(
                where, f"the lamp {name!r} has a channel with a `level`: what is switched only is at 100%"
            )

    def _chip_number(self, number: int, path: Path) -> ChipType | None:
        if number > len(self._chips):
            self._wrong(
                path,
                f"there is no chip {number}: the build {self._name!r} has {count(len(self._chips), 'chip')}",
            )
            return None
        return self._chips[number - 1]

    def _full_colour(self, name: str, entry: LampEntry, path: Path) -> list[Wire]:
        number = entry.full_colour or 1
        chip = self._chip_number(number, (*path, "full-colour"))
        if chip is None:
            return []
        self._hang(entry, chip, path)
        wires = []
        for channel, die in enumerate(chip.order):
            self._claim(name, number, channel, (*path, "full-colour"))
            wires.append(_soldered(number - 1, channel, die, FULL_LEVEL, entry, chip.name))
        return wires

    def _wire(self, name: str, entry: WireEntry, path: Path) -> list[Wire]:
        number = entry.chip
        chip = self._chip_number(number, (*path, "chip"))
        if chip is None:
            return []
        where = (*path, "channel")
        letters = list(chip.order)
        numbers = [str(index + 1) for index in range(chip.channels)]
        word = str(entry.channel).upper()
        if word not in letters and word not in numbers:
            self._wrong(
                where,
                f"{said(entry.channel)} is no channel of {chip.called}: "
                f"it has {', '.join(numbers)}, or {', '.join(letters)}",
            )
            return []
        channel = letters.index(word) if word in letters else numbers.index(word)
        self._claim(name, number, channel, where)
        self._hang(entry, chip, path)
        die = "" if chip.driver else chip.order[channel]
        return [_soldered(number - 1, channel, die, entry.level, entry, chip.name)]

    def _claim(self, lamp: str, number: int, channel: int, path: Path) -> None:
        other = self._used.get((number, channel))
        if other is not None:
            self._wrong(
                path,
                f"channel {channel + 1} of chip {number} is used twice: it is already a channel of the lamp {other!r}; "
                "a lamp made of other lamps is a `mix`",
            )
        self._used[number, channel] = lamp

    def _mix(self, name: str, mix: dict[str, int], head: dict[str, LampEntry], path: Path) -> None:
        others = {other: entry for other, entry in head.items() if other != name and entry.mix is None}
        for other, level in mix.items():
            where = (*path, "mix", other)
            if other not in others:
                self._key_wrong(where, f"this head has no lamp {other!r} to mix; {choice(other, others)}")
            elif others[other].full_colour is not None:
                self._key_wrong(
                    where, f"the lamp {other!r} is full colour and mixes by itself: ask it for a colour"
                )
            elif level not in (0, FULL_LEVEL) and not others[other].dimmable:
                self._wrong(where, f"the lamp {other!r} is not dimmable: mix 100% of it, or leave it out")

    def _wiring(self, entry: LampEntry, wires: list[Wire], path: Path) -> None:
        reason = _NOT_BY_A_SINK.get(entry.wiring)
        for wire in wires[:1]:
            chip = self._chips[wire.chip]
            if not chip.driver and "wiring" in entry.model_fields_set:
                self._inside(chip, "wiring", path)
            elif reason is not None:
                self._wrong((*path, "wiring"), f"{chip.called} cannot light this: {reason}")

    def _hang(self, entry: SolderedEntry, chip: ChipType, path: Path) -> None:
        """Look at what is soldered to a channel: a pixel has no place for it, and a driver must stand it."""
        if not chip.driver:
            for key in SolderedEntry.model_fields:
                if key in entry.model_fields_set:
                    self._inside(chip, key, path)
        elif not entry.inverted and entry.supply > chip.output_mv:
            self._wrong(
                self._said_at(path, "supply"),
                f"{volts(entry.supply)} is too much for an output of {chip.called}, which stands "
                f"{volts(chip.output_mv)}: use a lower supply, or a transistor stage and say `inverted: true`",
            )

    def _inside(self, chip: ChipType, key: str, path: Path) -> None:
        why = f"{chip.called} has its LEDs inside: `{_written(key)}` belongs to a driver such as ws2811"
        self._key_wrong(self._said_at(path, _written(key)), why)

    def _said_at(self, path: Path, key: str) -> Path:
        """Return the place of a key that stands at one of several channels, or at the lamp for all of them."""
        own = (*path, key)
        return own if own in self._desk.document.keys or "channels" not in path else (*path[:-2], key)


def _written(key: str) -> str:
    return key.replace("_", "-")


def _wire_entries(entry: LampEntry, path: Path) -> list[tuple[WireEntry, Path]]:
    """Return the channels of a lamp with their places; what is said of the lamp holds for each that says nothing."""
    keys = (*SolderedEntry.model_fields, "chip")
    shared = {key: getattr(entry, key) for key in keys if key in entry.model_fields_set}
    if entry.channels is None:
        return [(WireEntry.model_construct(set(shared), **shared, channel=entry.channel), path)]
    return [
        (
            each.model_copy(update={key: shared[key] for key in shared if key not in each.model_fields_set}),
            (*path, "channels", index),
        )
        for index, each in enumerate(entry.channels)
    ]


def _soldered(chip: int, channel: int, die: str, share: int, entry: SolderedEntry, kind: str) -> Wire:
    return Wire(
        chip=chip,
        channel=channel,
        offset=-1,
        die=die,
        share=share,
        inverted=entry.inverted,
        leds=entry.leds,
        supply_mv=entry.supply,
        resistor_ohm=entry.resistor,
        kind=kind,
    )
