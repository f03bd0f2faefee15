"""What the page is given: the layout as lenses on masts, and the present picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from bridge.events import LinkState
from bridge.layout.model import Chain, Fixture, Head, Lamp, LampKind, Layout, Light, Signal, Wire
from bridge.layout.units import FULL_LEVEL
from bridge.light.colours import led_colour
from bridge.service.notes import Notes
from bridge.service.runner import Runner

# How dies and LEDs look on a screen, in linear light on the primaries of sRGB. The dies are scaled so that the
# mixture that gives D65 on the layout (see `bridge.light.colours`) is white on the screen too.
_DIES: Final = {"R": (1.0, 0.0, 0.0), "G": (0.0, 1.4, 0.0), "B": (0.0, 0.0, 2.9), "W": (1.0, 0.8, 0.55)}
_LEDS: Final = {
    "red": (1.0, 0.0, 0.0),
    "orange": (1.0, 0.15, 0.0),
    "amber": (1.0, 0.26, 0.0),
    "yellow": (1.0, 0.38, 0.0),
    "green": (0.0, 0.85, 0.12),  # with red it has to give the yellow above
    "blue": (0.0, 0.05, 1.0),
    "lunar": (0.8, 0.92, 1.0),
    "white": (1.0, 1.0, 1.0),
    "warm-white": (1.0, 0.64, 0.2),
}


def describe(layout: Layout, bridge: str) -> dict[str, Any]:
    """Return what is fixed while a layout is loaded, as `bridge.web.view` describes it."""
    fixtures = layout.fixtures()
    devices: list[tuple[Signal | Light, str]] = [(signal, "signal") for signal in layout.signals]
    devices += [(light, "light") for light in layout.lights]
    return {
        "layout": layout.name,
        "bridge": bridge,
        "chains": [_chain(chain) for chain in layout.chains],
        "devices": [
            {
                "name": device.name,
                "kind": kind,
                "fixture": device.fixture,
                "chain": layout.chains[fixtures[device.fixture].chain].key,
            }
            for device, kind in devices
        ],
    }


def _chain(chain: Chain) -> dict[str, Any]:
    return {
        "node": chain.node,
        "chain": chain.name,
        "output": chain.output,
        "length": chain.length,
        "fixtures": [_fixture(fixture) for fixture in chain.fixtures],
    }


def _fixture(fixture: Fixture) -> dict[str, Any]:
    return {
        "name": fixture.name,
        "build": fixture.build,
        "first": min(fixture.positions),
        "last": max(fixture.positions),
        "line": fixture.mark.line,
        "heads": [{"name": head.name, "lenses": _lenses(head)} for head in fixture.heads],
    }


def _lenses(head: Head) -> list[dict[str, Any]]:
    lenses: dict[str, dict[str, Any]] = {}
    for lamp in head.lamps:
        if lamp.kind is LampKind.MIX:
            continue  # it looks out of the lenses of the lamps that it mixes
        lens = lenses.setdefault(lamp.lens or lamp.name, {"label": lamp.lens or lamp.name, "dies": []})
        lens["dies"] += _dies(lamp)
    return list(lenses.values())


def _dies(lamp: Lamp) -> list[dict[str, Any]]:
    if lamp.kind is LampKind.FULL_COLOUR:
        return [_die(wire, _DIES[wire.die], 1.0) for wire in lamp.wires]
    led = _LEDS.get(led_colour(lamp.name, lamp.colour), (1.0, 1.0, 1.0))
    whole = sum(wire.share for wire in lamp.wires) / FULL_LEVEL  # several LEDs of one lamp are one light
    return [_die(wire, led, max(whole, 1.0)) for wire in lamp.wires]


def _die(wire: Wire, rgb: tuple[float, float, float], whole: float) -> dict[str, Any]:
    return {"byte": wire.offset, "inverted": wire.inverted, "rgb": [part / whole for part in rgb]}


def _in_words(figures: dict[str, int]) -> dict[str, int | float]:
    """Return a chain's counters under names that a person reads; times that end in `_ns` in milliseconds."""
    return {
        f"{name.removesuffix('_ns')} (ms)".replace("_", " ")
        if name.endswith("_ns")
        else name.replace("_", " "): (round(value / 1_000_000, 1) if name.endswith("_ns") else value)
        for name, value in figures.items()
    }


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
        return {
            "frames": {chain.key: frame.hex() for chain, frame in zip(chains, frames, strict=True)},
            "devices": {
                name: {
                    "aspect": choice.aspect,
                    "reason": choice.reason,
                    "since": runner.since.get(name, "start"),
                }
                for name, choice in runner.engine.choices().items()
            },
            "nodes": {name: {"state": state, "text": text} for name, (state, text) in runner.nodes.items()},
            "chains": {chain: _in_words(figures) for chain, figures in runner.figures.items()},
            "broker": self._broker_state(),
            "clock": self._clock(),
            "counts": dict(runner.counts),
        }

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

    def _broker_state(self) -> dict[str, str]:
        if self._runner.link.connected:
            return {"state": "up", "text": f"connected to {self._broker}"}
        if self._was_up:
            return {"state": "lost", "text": f"the link to {self._broker} is lost; trying to connect again"}
        return {"state": "never", "text": f"not connected yet to {self._broker}"}

    def _clock(self) -> str | None:
        """Return the model clock as it was last told, moved on by its rate since then."""
        told = self._runner.clock
        if told is None:
            return None
        passed = (
            (self._runner.now() - told.at) * told.rate_quarters // (4 * 1_000_000_000) if told.running else 0
        )
        minutes = (told.seconds + passed) // 60 % 1440
        return f"{minutes // 60:02d}:{minutes % 60:02d}"
