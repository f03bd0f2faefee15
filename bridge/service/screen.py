"""What the page is given: the layout as lenses on masts, and the present picture."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from typing import Any, Final

from bridge.events import LinkState
from bridge.layout.effects.families import Steady
from bridge.layout.model import OFF, ON, Chain, Fixture, Head, Lamp, LampKind, Layout, Light, Signal, Wire
from bridge.layout.units import FULL_LEVEL, clock_text
from bridge.light.colours import DAYLIGHT, led_colour
from bridge.light.solving import mix
from bridge.logic.device import STILLED
from bridge.service.doors import Answer
from bridge.service.notes import Notes
from bridge.service.runner import Runner

# How dies and LEDs look on a screen, in linear light on the primaries of sRGB. An LED has purer colour than a
# screen can show: a component below zero takes away what a mixture with others must not have, and the page
# cuts off what stays below zero.
#
# The dies of a pixel are placed so that the mixtures of `bridge.light.colours` look as they are named: what each of
# them is here is its part in daylight (D65), so that all three together in that mixture are white, with all three
# components 1. Signal green then has some 27 parts of blue to 100 of green; true blue-green lies outside sRGB, and
# looks turquoise where it is only cut off.
_DIES_IN_WHITE: Final[dict[str, tuple[float, ...]]] = {
    "R": (1.0, -0.06, 0.0),
    "G": (0.0, 1.06, -0.222),
    "B": (0.0, 0.0, 1.222),
}
_WHITE_DIE: Final = (1.0, 0.8, 0.55)
_LEDS: Final[dict[str, tuple[float, ...]]] = {
    "red": (1.0, -0.06, -0.1),  # with 45 % of the green LED it is the yellow LED below
    "orange": (1.0, 0.15, 0.0),
    "amber": (1.0, 0.26, 0.0),
    "yellow": (1.0, 0.38, 0.0),
    "green": (0.0, 1.0, 0.2),
    "blue": (0.0, 0.05, 1.0),
    "lunar": (0.8, 0.92, 1.0),
    "white": (1.0, 1.0, 1.0),
    "warm-white": (1.0, 0.64, 0.2),
}

_STILL: Final = {ON: "stilled", OFF: "not stilled"}


def describe(layout: Layout, bridge: str) -> dict[str, Any]:
    """Return what is fixed while a layout is loaded, as `bridge.web.view` describes it."""
    devices: list[Signal | Light] = [*layout.signals, *layout.lights]
    return {
        "layout": layout.name,
        "bridge": bridge,
        "chains": [_chain(layout, chain) for chain in layout.all_chains],
        "sources": [source.name for source in layout.sources],
        "devices": [*(_device(layout, device) for device in devices), *_masters(layout)],
    }


def _masters(layout: Layout) -> list[dict[str, Any]]:
    """Return what is over several devices; a stroke is in no name, so none of them is called as a device is."""
    masters = [(f"zone/{zone.name}", zone.name, "zone") for zone in layout.zones]
    if layout.still is not None:
        masters.append((f"still/{STILLED}", "all flashing", "master switch"))
    return [{"name": key, "title": title, "kind": kind, "places": []} for key, title, kind in masters]


def effect_in_words(light: Light) -> str:
    """Return what a light does, in the word of its layout file; nothing where it is simply lit."""
    if light.effect is None or isinstance(light.effect, Steady):
        return ""
    return light.effect.kind.replace("-", " ")


def _device(layout: Layout, device: Signal | Light) -> dict[str, Any]:
    fixtures = layout.fixtures()
    if isinstance(device, Light):
        kind, own = "light", dict[str, set[tuple[str, str]]]()
        for place in device.lamps:
            own.setdefault(place.fixture, set()).add((place.head, place.lamp))
    else:
        heads = fixtures[device.fixture].only(device.heads).heads
        kind = "signal"
        own = {device.fixture: {(head.name, lamp.name) for head in heads for lamp in head.lamps}}
    return {
        "name": device.name,
        "kind": kind,
        "effect": effect_in_words(device) if isinstance(device, Light) else "",
        "places": [
            {
                "fixture": name,
                "chain": layout.all_chains[fixtures[name].chain].key,
                "lenses": _lenses_of(fixtures[name], lamps),
            }
            for name, lamps in own.items()
        ],
    }


def _lenses_of(fixture: Fixture, own: Collection[tuple[str, str]]) -> list[int]:
    """Return the numbers of the lenses that some lamps of a fixture look out of."""
    numbers: dict[tuple[str, str], int] = {}
    shining: dict[tuple[str, str], list[int]] = {}
    for head in fixture.heads:
        for lamp in head.lamps:
            if lamp.kind is not LampKind.MIX:
                number = numbers.setdefault((head.name, lamp.lens or lamp.name), len(numbers))
                shining[head.name, lamp.name] = [number]
        for lamp in head.lamps:
            if lamp.kind is LampKind.MIX:
                shining[head.name, lamp.name] = [
                    number for part, _level in lamp.mix for number in shining[head.name, part]
                ]
    return sorted({number for lamp in own for number in shining[lamp]})


def _chain(layout: Layout, chain: Chain) -> dict[str, Any]:
    return {
        "node": chain.node,
        "chain": chain.name,
        "output": chain.output,
        "length": chain.length,
        "planned": all(fixture.planned for fixture in chain.fixtures),
        "fixtures": [_fixture(layout, fixture) for fixture in chain.fixtures],
    }


def _fixture(layout: Layout, fixture: Fixture) -> dict[str, Any]:
    where: dict[str, Any] = {
        "first": min(fixture.positions, default=0),
        "last": max(fixture.positions, default=0),
    }
    if fixture.planned:
        where |= {"planned": True, "position text": "planned"}
    elif not fixture.positions:
        where["position text"] = "bypassed"
    return {
        "name": fixture.name,
        "build": fixture.build,
        **where,
        "line": fixture.mark.line,
        "heads": [{"name": head.name, "lenses": _lenses(layout, head)} for head in fixture.heads],
    }


def _lenses(layout: Layout, head: Head) -> list[dict[str, Any]]:
    lenses: dict[str, dict[str, Any]] = {}
    for lamp in head.lamps:
        if lamp.kind is LampKind.MIX:
            continue  # it looks out of the lenses of the lamps that it mixes
        lens = lenses.setdefault(lamp.lens or lamp.name, {"label": lamp.lens or lamp.name, "dies": []})
        lens["dies"] += _dies(layout, lamp)
    return list(lenses.values())


def _die(layout: Layout, wire: Wire) -> tuple[float, ...]:
    """Return how a die of a full-colour lamp looks at full light."""
    if wire.die == "W":
        return _WHITE_DIE
    daylight = mix(DAYLIGHT, replace(layout.dies_of(wire.kind), white=None)).level(wire.die) / FULL_LEVEL
    return tuple(component / daylight for component in _DIES_IN_WHITE[wire.die])


def _dies(layout: Layout, lamp: Lamp) -> list[dict[str, Any]]:
    if lamp.kind is LampKind.FULL_COLOUR:
        lights = [_die(layout, wire) for wire in lamp.wires]
    else:
        # Several channels are still one lamp: all of them at their full level give its colour once.
        together = max(sum(wire.share for wire in lamp.wires) / FULL_LEVEL, 1.0)
        led = _LEDS.get(led_colour(lamp.name, lamp.colour), (1.0, 1.0, 1.0))
        lights = [tuple(part / together for part in led)] * len(lamp.wires)
    return [
        {"name": wire.die or lamp.name, "byte": wire.offset, "inverted": wire.inverted, "rgb": list(light)}
        for wire, light in zip(lamp.wires, lights, strict=True)
    ]


def in_words(figures: dict[str, int]) -> str:
    """Return what happened on a chain in words; a figure that has no words here is told by its name."""
    left = dict(figures)
    sent, skipped, kept_alive = (left.pop(name, 0) for name in ("sent", "skipped", "kept_alive"))
    words = ["1 frame sent" if sent == 1 else f"{sent} frames sent"]
    if kept_alive:
        words.append(f"{kept_alive} of them keep-alives")
    if skipped:
        words.append(f"{skipped} passed over by newer ones")
    answered = left.pop("acknowledged", 0)
    if "round_trip_ns" in left:
        silent = "no answer at present" if answered else "no answer yet"
        taken = left.pop("round_trip_ns")
        words.append(f"answered after {taken / 1_000_000:.1f} ms" if taken else silent)
    return ", ".join([*words, *(f"{name.replace('_', ' ')}: {value}" for name, value in left.items())])


class Screen:
    """The view of one bridge: it reads from the runner and never writes."""

    def __init__(self, runner: Runner, notes: Notes, *, bridge: str, broker: str) -> None:
        self._runner = runner
        self._notes = notes
        self._bridge = bridge
        self._broker = broker
        self._was_up = False
        self._watchers: list[Callable[[], None]] = []
        runner.changed = self._changed
        notes.changed = self._changed
        runner.link.watch(self._link_changed)

    @property
    def description_number(self) -> int:
        """The number of the layout that is loaded; it stays the same for the whole run."""
        return 1

    def description(self) -> dict[str, Any]:
        """Return what is fixed while one layout is loaded."""
        return describe(self._runner.engine.layout, self._bridge)

    def picture(self) -> dict[str, Any]:
        """Return the whole present state."""
        runner = self._runner
        chains = runner.engine.layout.chains
        frames = runner.engine.present_frames()
        tested = runner.engine.tested()
        return {
            "frames": {chain.key: frame.hex() for chain, frame in zip(chains, frames, strict=True)},
            "devices": {
                name: {
                    "aspect": choice.aspect,
                    "reason": choice.reason,
                    "since": runner.tally.since.get(name, "start"),
                    "tested": name in tested,
                }
                for name, choice in runner.engine.choices().items()
            }
            | {
                key: {
                    "aspect": _STILL.get(told.state, told.state),
                    "reason": told.reason,
                    "since": runner.tally.since.get(key, "start"),
                }
                for key, told in runner.tally.masters.items()
            },
            "nodes": {
                name: {"state": state, "text": self._with_board(name, text)}
                for name, (state, text) in runner.nodes.items()
            },
            "sources": {
                name: {"state": each.health.state, "text": each.health.in_words()}
                for name, each in runner.sources.items()
            },
            "chains": {chain: in_words(figures) for chain, figures in runner.figures.items()},
            "broker": self._broker_state(),
            "clock": self._clock(),
            "lamp test": self._lamp_test(),
            "counts": dict(runner.tally.counts),
        }

    def hand_in(self, source: str, channel: str, body: bytes) -> Answer:
        """Hand a request to a source, and return what became of it."""
        return self._runner.doors.hand_in(source, channel, body)

    def notes(self, after: int) -> list[dict[str, Any]]:
        """Return the newest notes with a number above `after`, oldest first."""
        return self._notes.after(after)

    def watch(self, changed: Callable[[], None]) -> Callable[[], None]:
        """Have `changed` called after anything changed; return a function that ends the watching."""
        self._watchers.append(changed)
        return lambda: self._watchers.remove(changed)

    def _changed(self) -> None:
        for watcher in self._watchers:
            watcher()

    def _link_changed(self, state: LinkState) -> None:
        self._was_up = self._was_up or state is LinkState.UP
        self._changed()

    def _with_board(self, node: str, text: str) -> str:
        news = self._runner.boards.news.get(node)
        return text if news is None else f"{text}; {news}"

    def _broker_state(self) -> dict[str, str]:
        if self._runner.link.connected:
            return {"state": "up", "text": f"connected to {self._broker}"}
        if self._was_up:
            return {"state": "lost", "text": f"the link to {self._broker} is lost; trying to connect again"}
        return {"state": "never", "text": f"not connected yet to {self._broker}"}

    def _lamp_test(self) -> dict[str, str]:
        """Return how far a lamp test has come, in its word and in a sentence; empty while there is none."""
        told = self._runner.tally.lamp_test
        return {} if told.state == OFF else {"state": told.state, "text": told.reason}

    def _clock(self) -> str | None:
        """Return what the model clock shows; None while nobody knows."""
        engine = self._runner.engine
        time = engine.clock(max(self._runner.now(), engine.now))
        return None if time is None else clock_text(time.seconds // 60 * 60)
