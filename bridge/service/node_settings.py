"""What a node's board has to know, worked out from the layout file: so its owner types nothing twice."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from bridge.chain.frames import FULL_BYTE
from bridge.chain.pulses import pulses_for, reset_us
from bridge.errors import LamproomError
from bridge.layout import Layout
from bridge.layout.findings import choice
from bridge.layout.model import Chain
from bridge.service.building import at_rest
from bridge.service.shipped import node_program
from bridge.trial.areas import inverted

SETTINGS: Final = "settings.json"
DRIVER: Final = "pixels.py"

SILENT_AFTER_S: Final = 6
"""A second more than the time after which a node that was believed to be silent is asked again."""

LEAST_ROOM: Final = 1024
"""Bytes that a board keeps free for each chain at least, so that fixtures can be added without new settings."""

FIRST_PIN: Final = 2


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the layout file does not say; None and nothing mean: as it was.

    Attributes:
        broker: where the node finds the broker, host and port.
        wifi: the name of the network.
        pins: the pin of each chain by its name.
        hold: chains that go on showing what they show when nothing comes.
        plan: the layout once all that is planned is built, if chains of which nothing is built yet shall be made ready.
    """

    broker: tuple[str, int] | None = None
    wifi: str | None = None
    pins: Mapping[str, int] = field(default_factory=dict)
    hold: frozenset[str] = frozenset()
    plan: Layout | None = None


def node_settings(layout: Layout, node: str, wishes: Wishes, before: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings of a node.

    Args:
        layout: without errors.
        node: its name in the layout.
        wishes: what the layout file does not say.
        before: the settings that it has had; what its owner wrote there stays.

    Raises:
        LamproomError: there is no such node or chain, it is not reached by MQTT, a chain that carries signals is to
            hold, or nobody said where the broker is.
    """
    chains = {chain.name: chain for chain in layout.chains if chain.node == node}
    planned = {
        chain.name: chain
        for chain in (() if wishes.plan is None else wishes.plan.chains)
        if chain.node == node and chain.name not in chains
    }
    chains |= planned
    if not chains:
        if any(chain.node == node for chain in layout.unbuilt):
            raise LamproomError(
                f"nothing of {node} is built yet, so its board would have nothing to show: "
                "confirm what is soldered with `lamproom built`, and come back; --planned makes it ready for that"
            )
        nodes = list(dict.fromkeys(chain.node for chain in layout.chains))
        raise LamproomError(f"no node is called {node!r}; {choice(node, nodes)}")
    for chain in chains.values():
        if layout.output(chain.output).kind != "mqtt":
            raise LamproomError(
                f"{chain.key} is reached by the output {chain.output!r}, and this program listens to MQTT alone"
            )
    for name in (*wishes.pins, *sorted(wishes.hold)):
        if name not in chains:
            raise LamproomError(f"{node} has no chain called {name!r}; {choice(name, chains)}")
    # What counts as built nowhere shows nothing by itself, not even a signal at its most restrictive aspect.
    pictures = at_rest(layout) | {chain.key: _dark(chain) for chain in planned.values()}
    old = {str(each.get("name")): each for each in before.get("chains", ()) if isinstance(each, dict)}
    pins = _pins(chains, wishes.pins, old)
    return {
        "node": node,
        "wifi": _wifi(wishes.wifi, before),
        "broker": _broker(layout, wishes.broker, before),
        "silent_after_s": before.get("silent_after_s", SILENT_AFTER_S),
        "chains": [
            _chain(
                wishes.plan if wishes.plan is not None and name in planned else layout,
                chain,
                pictures[chain.key],
                pins[name],
                old.get(name, {}),
                name in wishes.hold,
            )
            for name, chain in chains.items()
        ],
    }


def write_board(folder: Path, layout: Layout, node: str, wishes: Wishes) -> list[str]:
    """Write all that a board has to hold into a folder, and return the names of the files, the settings last.

    The driver of the data line stays as it is if there is one: its owner may have replaced it.

    Raises:
        LamproomError: as `node_settings`; or the folder cannot be written, or holds settings of another node.
    """
    path = folder / SETTINGS
    before = _before(path, node)
    settings = node_settings(layout, node, wishes, before)
    program = node_program()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in program.items():
            if name == DRIVER and (folder / name).exists():
                continue
            (folder / name).write_text(text, encoding="utf-8")
        path.write_text(as_text(settings), encoding="utf-8")
    except OSError as problem:
        raise LamproomError(f"{folder} cannot be written: {problem.strerror}") from None
    return [*program, SETTINGS]


def pins_of(words: Iterable[str]) -> dict[str, int]:
    """Return the pins that are said as `chain=pin`.

    Raises:
        LamproomError: a word says something else.
    """
    pins = {}
    for word in words:
        chain, _, pin = word.rpartition("=")
        if not chain or not pin.isascii() or not pin.isdigit() or len(pin) > 2:
            raise LamproomError(
                f"--pin {word}: write a chain and the number of its pin, such as --pin throat=2"
            )
        pins[chain] = int(pin)
    return pins


def as_text(settings: Mapping[str, Any]) -> str:
    """Return the settings as they stand in the file."""
    return json.dumps(settings, indent=1, ensure_ascii=False) + "\n"


def poorly_timed(layout: Layout, node: str) -> list[str]:
    """Return a sentence for each chain with chips whose data sheets allow no pulses in common."""
    found = []
    for chain in layout.chains:
        kinds = _kinds(chain)
        missed = pulses_for(kinds).missed_by
        if chain.node == node and missed:
            found.append(
                f"{chain.key}: the data sheets of {' and '.join(kinds)} allow no pulses in common; these are "
                f"{missed} ns beside them, which chips mostly bear. Chains of their own would be within them"
            )
    return found


def _before(path: Path, node: str) -> Mapping[str, Any]:
    try:
        values = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError):
        raise LamproomError(
            f"{path} is there and cannot be read as settings: mend it, or take it away"
        ) from None
    if not isinstance(values, dict) or values.get("node") != node:
        raise LamproomError(f"{path} holds the settings of another node: give each node a folder of its own")
    return values


def _kinds(chain: Chain) -> list[str]:
    return sorted({chip.type.name for chip in chain.chips})


def _chain(
    layout: Layout, chain: Chain, picture: bytes, pin: int, old: Mapping[str, Any], hold: bool
) -> dict[str, Any]:
    fixtures = layout.fixtures()
    signals = [
        signal.name
        for signal in layout.signals
        if layout.all_chains[fixtures[signal.fixture].chain].key == chain.key
    ]
    if hold and signals:
        raise LamproomError(
            f"{chain.key} carries signals ({', '.join(signals[:3])}{' ...' if signals[3:] else ''}), so it cannot "
            "hold what it shows: a frozen flash may look like a better aspect"
        )
    kinds = _kinds(chain)
    sizes = {chip.type.channels for chip in chain.chips}
    step = (
        sizes.pop() if len(sizes) == 1 else 1
    )  # chips of several sizes: any number of bytes may be whole chips
    room = -(-max(LEAST_ROOM, 2 * chain.length) // step) * step
    held = hold or (old.get("when_silent") == "hold" and not signals)
    return {
        "name": chain.name,
        "pin": pin,
        "chips": kinds,
        "bytes_per_chip": step,
        "longest": room,
        "pulses_ns": list(pulses_for(kinds).times),
        "reset_us": reset_us(kinds),
        "signals": bool(signals),
        "when_silent": "hold" if held else "picture",
        "picture": picture.hex(),
    }


def _dark(chain: Chain) -> bytes:
    lit = inverted(chain)
    return bytes(FULL_BYTE * (offset in lit) for offset in range(chain.length))


def _pins(
    chains: Mapping[str, Chain], wished: Mapping[str, int], old: Mapping[str, Mapping[str, Any]]
) -> dict[str, int]:
    """Return the pin of each chain: as wished, as it was, or the next that is free."""
    pins = {name: old[name]["pin"] for name in chains if type(old.get(name, {}).get("pin")) is int}
    pins.update(wished)
    for name in chains:
        if name not in pins:
            pins[name] = next(pin for pin in range(FIRST_PIN, 100) if pin not in pins.values())
    twice = {name: pin for name, pin in pins.items() if list(pins.values()).count(pin) > 1}
    if twice:
        names = " and ".join(twice)
        raise LamproomError(
            f"{names} would have the same pin: give each its own, such as --pin {next(iter(twice))}=5"
        )
    return pins


def _wifi(name: str | None, before: Mapping[str, Any]) -> Any:
    wifi = before.get("wifi", {"name": "", "password": ""})
    if name is None:
        return wifi
    if not name:
        return None
    password = wifi.get("password", "") if isinstance(wifi, dict) and wifi.get("name") in ("", name) else ""
    return {"name": name, "password": password}


def _broker(layout: Layout, place: tuple[str, int] | None, before: Mapping[str, Any]) -> dict[str, Any]:
    old = before.get("broker")
    known = old if isinstance(old, dict) else {}
    if place is None and not known.get("host"):
        own = layout.broker
        if own.host in ("127.0.0.1", "localhost", "::1"):
            raise LamproomError(
                "the layout file's broker is on this machine, where a node cannot find it by that name: say with "
                "--broker by which address the node reaches it, such as --broker 192.0.2.10"
            )
        place = (own.host, own.port)
    host, port = (known["host"], known.get("port", 1883)) if place is None else place
    return {
        "host": host,
        "port": port,
        "user": known.get("user", ""),
        "password": known.get("password", ""),
    }
