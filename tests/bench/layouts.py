"""Layout files of any size, made for measuring."""

from __future__ import annotations

from typing import Final

BUILDS: Final = """\
layout: Measured
builds:
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, yellow: {channel: 2}, red: {channel: 3}}}
  room: {chips: [ws2812b], lamps: {room: {full-colour: 1}}}
"""

NODES: Final = ("answers-1", "answers-2", "plain-1", "plain-2")
CHAINS_A_NODE: Final = 2
SIGNALS_A_CHAIN: Final = 60
ROOMS_A_CHAIN: Final = 106
FRAME_SIZE: Final = 12 + 3 * (SIGNALS_A_CHAIN + ROOMS_A_CHAIN)
"""Bytes of a frame with its header."""

BURST: Final = 2001
"""The accessory that switches one room on each chain."""

_ROOMS_A_SWITCH: Final = 6
_FIRST_SWITCH: Final = 1001


def village() -> str:
    """Return a layout of eight chains with 166 chips each: 480 signals, and rooms switched six by six.

    Signal n of the layout, counted from 0, is ordered by accessory n + 1; it stands on chain n // 60.
    """
    lines, signals, lights = ["nodes:"], ["signals:"], ["lights:"]
    number, room = 1, 0
    for node in NODES:
        lines += [f"  {node}:", "    chains:"]
        for chain in range(CHAINS_A_NODE):
            lines += [f"      - name: '{chain}'", "        fixtures:"]
            for _ in range(SIGNALS_A_CHAIN):
                lines.append(f"          - {{name: S{number}, build: three-lamp}}")
                signals.append(signal(f"S{number}", number))
                number += 1
            for place in range(ROOMS_A_CHAIN):
                lines.append(f"          - {{name: R{room}, build: room}}")
                switch = _FIRST_SWITCH + room // _ROOMS_A_SWITCH if place else BURST
                lights.append(f"  R{room}: {{when: {{accessory: {switch}}}, shows: warm-white}}")
                room += 1
    return BUILDS + "\n".join((*lines, *signals, *lights)) + "\n"


def signals_only(count: int, *, chains: int = 1) -> str:
    """Return a layout of so many three-lamp signals, ordered by accessories 1, 2, 3 and so on.

    Beyond the 2,000th they share accessories, but none of the first hundred.
    """
    lines, signals = ["nodes:"], ["signals:"]
    for chain in range(chains):
        lines += [f"  node-{chain}:", "    chains:", "      - name: only", "        fixtures:"]
        for number in range(1 + chain * count // chains, 1 + (chain + 1) * count // chains):
            lines.append(f"          - {{name: S{number}, build: three-lamp}}")
            signals.append(signal(f"S{number}", number if number <= 2000 else 101 + number % 1900))
    return BUILDS + "\n".join((*lines, *signals)) + "\n"


def pixels(count: int) -> str:
    """Return a layout of so many RGB pixels, a multiple of 250, 250 on each chain; accessory 1 fades all of them."""
    lamps = ", ".join(f"p{place}: {{full-colour: {place}}}" for place in range(1, 51))
    build = f"  tape: {{chips: [{', '.join(['ws2812b'] * 50)}], lamps: {{{lamps}}}}}"
    lines = [build, "nodes:"]
    for chain in range(count // 250):
        lines += [f"  node-{chain}:", "    chains:", "      - name: only", "        fixtures:"]
        lines += [f"          - {{name: T{chain}-{place}, build: tape}}" for place in range(5)]
    lights = [
        f"  T{chain}-{place}: {{when: {{accessory: 1}}, shows: white, change: fade 50 s}}"
        for chain in range(count // 250)
        for place in range(5)
    ]
    return BUILDS + "\n".join((*lines, "lights:", *lights)) + "\n"


def signal(name: str, accessory: int) -> str:
    """Return the line of one signal."""
    return f"  {name}: {{commands: {{{accessory}: {{normal: stop, reverse: clear}}}}}}"


EFFECTS: Final = (
    "open-fire",
    "small-flame",
    "screen",
    "sodium-lamp",
    "{kind: rotating-beacon, rate: 60}",
    "Fl(2+1) 15s",
    "{kind: strobe, flashes: 2}",
    "{kind: flash, rate: 60}",
    "gas-tube-fault",
    "airport-beacon",
)
"""Effects of all kinds, most of which move with every frame."""


def effects(count: int, chains: int = 34) -> str:
    """Return a layout of so many RGB pixels that all play, each by itself; accessory 1 switches them on."""
    build = "  pixel: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}"
    lines, lights = [build, "nodes:"], ["lights:"]
    for chain in range(chains):
        lines += [f"  node-{chain}:", "    chains:", "      - name: only", "        fixtures:"]
        for number in range(chain * count // chains, (chain + 1) * count // chains):
            lines.append(f"          - {{name: E{number}, build: pixel}}")
            effect = EFFECTS[number % len(EFFECTS)]
            lights.append(f"  E{number}: {{when: {{accessory: 1}}, effect: {effect}}}")
    return BUILDS + "\n".join((*lines, *lights)) + "\n"
