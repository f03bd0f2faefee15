"""Builds: from what the owner wrote about a kind of fixture to lamps on channels."""

from __future__ import annotations

from typing import Any

from bridge.layout.chips import CHIP_TYPES, ChipType, parse_order
from bridge.layout.entries import Desk
from bridge.layout.findings import choice
from bridge.layout.model import Build, Head, Lamp, LampKind, Wire
from bridge.layout.schema import BuildEntry, ChipEntry, LampEntry, SolderedEntry, WireEntry
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL

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
            self._wrong(self._path, f"the build {self._name!r} needs either `lamps` or `heads`")
            return None
        heads: list[Head] = []
        if entry.lamps is not None:
            heads.append(self._head("", entry.lamps, (*self._path, "lamps")))
        for name, lamps in (entry.heads or {}).items():
            heads.append(self._head(name, lamps, (*self._path, "heads", name)))
        if not self._sound:
            return None
        return Build(self._name, tuple(self._chips), tuple(orders), tuple(heads))

    def _wrong(self, path: Path, message: str) -> None:
        self._sound = False
        self._desk.error(path, message)

    def _chip(self, data: Any, path: Path) -> tuple[int, ...] | None:
        entry = ChipEntry(type=data) if isinstance(data, str) else self._desk.entry(ChipEntry, data, path)
        if entry is None:
            self._sound = False
            return None
        kind = CHIP_TYPES.get(entry.type)
        if kind is None:
            self._wrong(path, f"no chip is called {entry.type!r}; {choice(entry.type, CHIP_TYPES)}")
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
            self._wrong(
                path,
                f"the lamp {name!r} needs one of full-colour, channel, channels or mix; it has {len(ways)}",
            )
        elif entry.full_colour is not None:
            kind, wires = LampKind.FULL_COLOUR, self._full_colour(name, entry, path)
        elif entry.mix is not None:
            kind = LampKind.MIX
            self._mix(name, entry.mix, head, path)
        else:
            for each, where in _wire_entries(entry, path):
                wires += self._wire(name, each, where)
        self._wiring(entry, wires, path)
        return Lamp(
            name=name,
            kind=kind,
            colour=entry.colour or "",
            wires=tuple(wires),
            mix=tuple((entry.mix or {}).items()),
            dimmable=entry.dimmable,
            lens=entry.lens or "",
            mark=self._desk.key_mark(path),
        )

    def _chip_number(self, number: int, path: Path) -> ChipType | None:
        if number > len(self._chips):
            self._wrong(path, f"there is no chip {number}: the build {self._name!r} has {len(self._chips)}")
            return None
        return self._chips[number - 1]

    def _full_colour(self, name: str, entry: LampEntry, path: Path) -> list[Wire]:
        number = entry.full_colour or 1
        chip = self._chip_number(number, (*path, "full-colour"))
        if chip is None:
            return []
        wires = []
        for channel, die in enumerate(chip.order):
            self._claim(name, number, channel, (*path, "full-colour"))
            wires.append(_soldered(number - 1, channel, die, FULL_LEVEL, entry))
        return wires

    def _wire(self, name: str, entry: WireEntry, path: Path) -> list[Wire]:
        number, said = entry.chip, entry.channel
        chip = self._chip_number(number, (*path, "chip"))
        if chip is None:
            return []
        where = (*path, "channel")
        letters = list(chip.order)
        numbers = [str(index + 1) for index in range(chip.channels)]
        word = str(said).upper()
        if word not in letters and word not in numbers:
            self._wrong(
                where,
                f"a {chip.name} has no channel {said!r}: it has {', '.join(numbers)}, or {', '.join(letters)}",
            )
            return []
        channel = letters.index(word) if word in letters else numbers.index(word)
        self._claim(name, number, channel, where)
        if not chip.driver and entry.leds != 1:
            self._wrong(path, f"a {chip.name} has its LEDs inside: `leds` belongs to a driver such as ws2811")
        die = "" if chip.driver else chip.order[channel]
        return [_soldered(number - 1, channel, die, entry.level, entry)]

    def _claim(self, lamp: str, number: int, channel: int, path: Path) -> None:
        other = self._used.get((number, channel))
        if other is not None:
            self._wrong(
                path,
                f"channel {channel + 1} of chip {number} is used twice: it is already the lamp {other!r}; "
                "a lamp of several LEDs is a `mix`",
            )
        self._used[number, channel] = lamp

    def _mix(self, name: str, mix: dict[str, int], head: dict[str, LampEntry], path: Path) -> None:
        others = {other: entry for other, entry in head.items() if other != name and entry.mix is None}
        for other in mix:
            if other not in others:
                self._wrong(
                    (*path, "mix", other), f"this head has no lamp {other!r} to mix; {choice(other, others)}"
                )
            elif others[other].full_colour is not None:
                self._wrong(
                    (*path, "mix", other),
                    f"{other!r} is full colour and mixes by itself: ask it for a colour",
                )

    def _wiring(self, entry: LampEntry, wires: list[Wire], path: Path) -> None:
        reason = _NOT_BY_A_SINK.get(entry.wiring)
        for wire in wires[:1]:
            if reason is not None:
                self._wrong((*path, "wiring"), f"a {self._chips[wire.chip].name} cannot light this: {reason}")
        for wire in wires:
            chip = self._chips[wire.chip]
            if chip.driver and not wire.inverted and wire.supply_mv > chip.output_mv:
                self._wrong(
                    path,
                    f"{wire.supply_mv / 1000:g} V is too much for an output of a {chip.name}, which stands "
                    f"{chip.output_mv // 1000} V: use a lower supply, or a transistor stage and say `inverted: true`",
                )
                break


def _wire_entries(entry: LampEntry, path: Path) -> list[tuple[WireEntry, Path]]:
    if entry.channels is not None:
        return [(each, (*path, "channels", index)) for index, each in enumerate(entry.channels)]
    shared = {key: getattr(entry, key) for key in (*SolderedEntry.model_fields, "chip", "channel")}
    return [(WireEntry.model_construct(**shared), path)]


def _soldered(chip: int, channel: int, die: str, share: int, entry: SolderedEntry) -> Wire:
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
    )
