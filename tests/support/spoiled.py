"""Messages of invented conventions, most of them spoiled on the way, in an order that is the same in every run."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random
from typing import Final

from tests.support.mapped import mapping

ENTRIES: Final = (
    "topic: 'yard/turnout/{number}/set', tells: ordered, means: {T: reverse, C: normal}, offset: 100",
    "topic: club/points, tells: ordered, json: {number: /addr, value: /to}, means: {div: reverse, main: normal}",
    "topic: shed/box, tells: block, members: {/k1: west, /k2/on: east}, means: {1: occupied, 0: clear}",
    "topic: 'shed/{area}/all', tells: block, each: '', name: '{area}-{key}', means: {true: occupied, false: clear}",
    "topic: cellar/inputs, tells: block, written: hex, bits: {0: a, 7: b}, means: {1: occupied, 0: clear}",
    "topic: cellar/raw, tells: power, name: p, written: bytes, means: {below 9: 'on', 9 or more: shorted}",
    (
        "topic: 'loft/{name}/current', tells: block, text: '{value} mA', means: {below 4: clear, 4 to 9: nothing},"
        " otherwise: occupied"
    ),
    "topic: hall/clock, tells: clock, json: {time: /t, rate: /r, value: /run}",
)
"""What is said of each convention in a layout file."""

CONVENTIONS: Final = mapping(*ENTRIES)

SOUND: Final = (
    ("yard/turnout/61/set", b"T"),
    ("club/points", b'{"addr": 161, "to": "div", "who": "tower"}'),
    ("shed/box", b'{"k1": 1, "k2": {"on": 0.0}, "uptime": 814}'),
    ("shed/loft/all", b'{"1": true, "2": false}'),
    ("cellar/inputs", b"0x81"),
    ("cellar/raw", b"\x01\x02"),
    ("loft/west/current", b"12.5 mA"),
    ("hall/clock", b'{"t": "06:45", "r": 2.5, "run": true}'),
)
"""A message of each convention as it should be."""

_PIECES: Final = (
    b"[" * 40,
    b"{" * 40,
    b'"',
    b"\\",
    b"\xff",
    b"\0",
    b"9" * 60,
    b"1e999999",
    b"NaN",
    b"-",
    b"null",
    b" ",
    b",",
)
_LEVELS: Final = ("", "+", "#", "9" * 80, "-1", "\0", "é", "$SYS", "x" * 600, "set")


def spoiled(count: int, seed: int = 1) -> Iterator[tuple[str, bytes, bool]]:
    """Give topic, payload, and whether it is a kept copy, of so many messages; one in eight is as it should be."""
    random = Random(seed)  # noqa: S311 - for what is the same in every run
    for _ in range(count):
        topic, payload = random.choice(SOUND)
        for _ in range(random.choice((0, 1, 1, 1, 2, 2, 3, 8))):
            payload = _other(payload, random)
        if not random.randrange(6):
            levels = topic.split("/")
            levels[random.randrange(len(levels))] = random.choice(_LEVELS)
            topic = "/".join(levels)
        yield topic, payload, not random.randrange(4)


def _other(payload: bytes, random: Random) -> bytes:
    at = random.randrange(len(payload) + 1)
    match random.randrange(6):
        case 0:
            return payload[:at]
        case 1:
            return payload[:at] + payload[at + 1 :]
        case 2:
            return payload[:at] + random.choice(_PIECES) + payload[at:]
        case 3:
            return payload[:at] + bytes([random.randrange(256)]) + payload[at + 1 :]
        case 4:
            return payload[:at] + payload[at // 2 :]
        case _:
            return random.randbytes(random.randrange(24))
