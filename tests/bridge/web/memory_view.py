"""A view held in memory: the page's own interface, filled by a test instead of a bridge."""

from __future__ import annotations

import asyncio
import copy
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from bridge.web.view import View

HOSTILE = "<img src=x onerror=alert(1)>"
"""A name that does harm wherever it is taken for markup."""

RED, YELLOW, GREEN = [0.9, 0.02, 0.0], [0.7, 0.32, 0.0], [0.0, 0.6, 0.25]


def die(byte: int, rgb: list[float], name: str = "", *, inverted: bool = False) -> dict[str, Any]:
    return {"name": name, "byte": byte, "inverted": inverted, "rgb": rgb}


def lens(label: str, *dies: dict[str, Any]) -> dict[str, Any]:
    return {"label": label, "dies": [{**each, "name": each["name"] or label} for each in dies]}


def full_colour(byte: int) -> dict[str, Any]:
    """A pixel whose bytes arrive green, red, blue."""
    return lens(
        "head",
        die(byte + 1, [1.0, 0.0, 0.0], "R"),
        die(byte, [0.0, 1.0, 0.0], "G"),
        die(byte + 2, [0.0, 0.0, 1.0], "B"),
    )


def fixture(
    name: str, build: str, first: int, last: int, line: int, *heads: tuple[str, list[dict[str, Any]]]
) -> dict[str, Any]:
    placed = [{"name": head, "lenses": lenses} for head, lenses in heads]
    return {"name": name, "build": build, "first": first, "last": last, "line": line, "heads": placed}


def device(name: str, kind: str, fixture: str, *lenses: int) -> dict[str, Any]:
    chain = "tarn-yard/throat" if kind == "signal" else "mill/town"
    return {
        "name": name,
        "kind": kind,
        "places": [{"fixture": fixture, "chain": chain, "lenses": list(lenses)}],
    }


def three(first: int) -> list[dict[str, Any]]:
    return [
        lens("green", die(first, GREEN)),
        lens("yellow", die(first + 2, YELLOW)),
        lens("red", die(first + 1, RED)),
    ]


def example() -> dict[str, Any]:
    """An invented layout: a signal of each sort on one chain, house lights on another, a hostile name."""
    throat = [
        fixture("T2", "searchlight", 1, 1, 31, ("", [full_colour(0)])),
        fixture("T4", "three-lamp", 2, 2, 32, ("", three(3))),
        fixture("T6", "two-head", 3, 4, 33, ("upper", three(6)), ("lower", three(9))),
        fixture(
            "D1",
            "dwarf",
            5,
            5,
            34,
            ("", [lens("red", die(12, RED)), lens("white", die(13, [0.8, 0.8, 0.7]))]),
        ),
        fixture("T8", "inverted", 6, 6, 35, ("", [lens("red", die(15, RED, inverted=True))])),
        fixture("T10", "mixed", 7, 7, 36, ("", [lens("head", die(18, RED, "red"), die(19, GREEN, "green"))])),
    ]
    throat[0]["position text"] = "1"
    bulbs = [lens(f"bulb {n}", die(16 + n, [1.0, 0.6, 0.3])) for n in range(15)]
    town = [
        fixture(name, "house", n, n, 40 + n, ("", [lens("lamp", die(4 * n - 4, [1.0, 0.6, 0.3]))]))
        for n, name in enumerate(["bakery", HOSTILE, "station lamp east"], start=1)
    ]
    rooms = [
        lens(room, die(12 + n, [1.0, 0.6, 0.3])) for n, room in enumerate(["attic", "parlour", "kitchen"])
    ]
    town.append(fixture("weaver's", "three-rooms", 4, 4, 44, ("", rooms)))
    town.append(fixture("spare", "house", 5, 5, 45, ("", [lens("lamp", die(15, [1.0, 0.6, 0.3]))])))
    town.append(fixture("road works", "arrow-board", 6, 10, 46, ("", bulbs)))
    signals = [device(f["name"], "signal", f["name"], 0) for f in throat]
    lights = [device(f["name"], "light", f["name"], 0) for f in town[:3]]
    lights += [device(f"weaver's {rooms[n]['label']}", "light", "weaver's", n) for n in (2, 1, 0)]
    lights.append(device("road works", "light", "road works", *range(15)) | {"effect": "arrow board"})
    masters = [
        {"name": "zone/town", "title": "town", "kind": "zone", "places": []},
        {"name": "still/flashing", "title": "all flashing", "kind": "master switch", "places": []},
    ]
    return {
        "layout": f"Fernhollow & Tarn {HOSTILE}",
        "bridge": "main",
        "sources": ["panel"],
        "chains": [
            {"node": "tarn-yard", "chain": "throat", "output": "mqtt", "length": 21, "fixtures": throat},
            {"node": "mill", "chain": "town", "output": "mqtt", "length": 31, "fixtures": town},
        ],
        "devices": [*signals, *lights, *masters],
    }


def beginning(description: dict[str, Any]) -> dict[str, Any]:
    """A quiet state for `description`, everything heard and every byte 0."""
    devices = {
        device["name"]: {"aspect": "stop", "reason": "the bridge began", "since": "15:31:07"}
        for device in description["devices"]
    }
    keys = {f"{chain['node']}/{chain['chain']}": chain["length"] for chain in description["chains"]}
    return {
        "frames": {key: bytes(length).hex() for key, length in keys.items()},
        "devices": devices,
        "nodes": {chain["node"]: {"state": "up", "text": "acknowledges"} for chain in description["chains"]},
        "sources": {"panel": {"state": "up", "text": "the cable is in (since 15:31:07), 12 events"}},
        "chains": dict.fromkeys(keys, "1 frame sent, answered after 2.0 ms"),
        "broker": {"state": "up", "text": "connected to 127.0.0.1:1883"},
        "clock": "16:02",
        "counts": {"events": 12, "refused": 1, "frames": 40, "changes": 9},
    }


class MemoryView:
    """A view that shows what a test puts into `state` and tells its watchers on `change`."""

    def __init__(self) -> None:
        self.description_number = 1
        self.described = example()
        self.state = beginning(self.described)
        self.noted: list[dict[str, Any]] = []
        self.watchers: list[Callable[[], None]] = []
        self.unwatched = asyncio.Event()
        self.pictures = 0

    def description(self) -> dict[str, Any]:
        return copy.deepcopy(self.described)

    def picture(self) -> dict[str, Any]:
        self.pictures += 1
        return copy.deepcopy(self.state)

    def notes(self, after: int) -> list[dict[str, Any]]:
        return [note for note in self.noted if note["number"] > after]

    def watch(self, changed: Callable[[], None]) -> Callable[[], None]:
        self.watchers.append(changed)

        def unwatch() -> None:
            self.watchers.remove(changed)
            self.unwatched.set()

        return unwatch

    def change(self) -> None:
        """Tell the watchers."""
        for changed in tuple(self.watchers):
            changed()

    def frame(self, key: str, **levels: int) -> None:
        """Set bytes of a chain's frame (`b3=255` is offset 3) and tell the watchers."""
        frame = bytearray.fromhex(self.state["frames"][key])
        for name, level in levels.items():
            frame[int(name[1:])] = level
        self.state["frames"][key] = frame.hex()
        self.change()

    def note(self, level: str, text: str) -> None:
        """Add a note and tell the watchers."""
        number = len(self.noted) + 1
        self.noted.append({"number": number, "time": "15:40:00", "level": level, "text": text})
        self.change()


if TYPE_CHECKING:
    _: View = MemoryView()
