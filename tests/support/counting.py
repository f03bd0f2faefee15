"""A layout whose frames count: the bytes of a frame tell which of 4096 states it shows.

Six signals of four aspects each stand for six digits of base 4, in a reflected Gray code: from each state to the
next one signal changes, by one order. So each order is one change of one frame.
"""

from __future__ import annotations

from typing import Final

SIGNALS: Final = 6
STATES: Final = 4**SIGNALS

CHAIN: Final = "vale/main"

# What the three outputs of a chip carry: green, red, yellow. Digit 0 is the signal's most restrictive aspect.
_DIGITS: Final = (bytes.fromhex("00ff00"), bytes.fromhex("0000ff"), bytes.fromhex("ff0000"), bytes(3))

_COMMANDS: Final = "{%d: {normal: stop, reverse: caution}, %d: {normal: clear, reverse: unlit}}"

LAYOUT: Final = (
    """\
layout: Counting Vale
builds:
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  house: {chips: [ws2811], lamps: {white: {channel: 1}}}
nodes:
  vale:
    chains:
      - name: main
        fixtures:
"""
    + "".join(f"          - {{name: S{digit}, build: three-lamp}}\n" for digit in range(SIGNALS))
    + """\
  town:
    chains:
      - name: street
        fixtures:
          - {name: inn, build: house}
          - {name: T1, build: three-lamp}
      - name: lane
        fixtures:
          - {name: barn, build: house}
lights:
  inn: {when: {accessory: 70}, shows: white}
  barn: {when: {accessory: 72}, shows: white}
signals:
  T1: {commands: {71: {normal: stop, reverse: clear}}}
"""
    + "".join(
        f"  S{digit}: {{aspects: {{stop: red, caution: yellow, clear: green, unlit: dark}},"
        f" commands: {_COMMANDS % (11 + 2 * digit, 12 + 2 * digit)}}}\n"
        for digit in range(SIGNALS)
    )
)


def digits(state: int) -> list[int]:
    """Return the digits of a state in the reflected Gray code, the fastest first."""
    found = []
    for _ in range(SIGNALS):
        state, digit = divmod(state, 4)
        found.append(3 - digit if state & 1 else digit)
    return found


def order(state: int) -> tuple[str, str]:
    """Return topic and payload of the order that leads to a state from the one before it."""
    state %= STATES
    before, after = digits((state - 1) % STATES), digits(state)
    [(signal, digit)] = [
        (signal, digit) for signal, (old, digit) in enumerate(zip(before, after, strict=True)) if old != digit
    ]
    number = 11 + 2 * signal + (digit >> 1)
    return f"layout/accessory/{number}/ordered", "reverse" if digit & 1 else "normal"


def levels(state: int) -> bytes:
    """Return what the chain carries in a state."""
    return b"".join(_DIGITS[digit] for digit in digits(state % STATES))


_STATE_OF: Final = {levels(state): state for state in range(STATES)}


def state_of(shown: bytes) -> int:
    """Return the state that a chain's levels show."""
    return _STATE_OF[shown]
