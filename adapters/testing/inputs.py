"""What may come in: what a bus really says, and that spoiled in every way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from random import Random
from typing import Final

from adapters.contract import Raw

MANY: Final = 2000

_ODD: Final = (
    b"",
    b"\0",
    b"\n",
    b" ",
    b"\xff\xfe",
    b"\xc3",
    b"-1",
    b"0",
    b"99999999999999999999999999",
    b"1e999",
    "\u0661\u0662".encode(),  # digits to `str.isdigit`, and no numbers of a bus
    "\u00b2".encode(),
    b"nan",
    b"null",
    b"[]",
    b"{}",
    b"[" * 5000,
    b'{"time": 1e400}',
    b"x" * 1_000_000,
    bytes(range(256)),
)


def arbitrary(samples: Sequence[Raw], random: Random) -> list[Raw]:
    """Return inputs from a few that a bus really gave: them, odd ones, and some thousand spoiled ones."""
    said = list(dict.fromkeys(samples))[:50] or [Raw("", b"")]
    channels = list(dict.fromkeys(raw.channel for raw in said))
    found = [*said, *(Raw(channel, odd) for channel in channels[:5] for odd in _ODD)]
    found += [Raw("", b"x"), Raw("\0\n\ud7ff", b"x"), Raw("x" * 70_000, b"x")]
    return [*found, *spoiled(said, random, MANY)]


def spoiled(samples: Sequence[Raw], random: Random, count: int) -> Iterator[Raw]:
    """Yield so many inputs, each made of a sample by some changes anywhere in it."""
    for _ in range(count):
        raw = random.choice(samples)
        payload = _changed(raw.payload, random)
        channel = raw.channel
        if random.random() < 0.3:
            channel = _changed(channel.encode(), random).decode(errors="replace")
        yield Raw(channel, payload, random.random() < 0.3)


def _changed(payload: bytes, random: Random) -> bytes:
    data = bytearray(payload)
    for _ in range(random.randint(1, 3)):
        place = random.randint(0, len(data))
        match random.randrange(7):
            case 0:
                data[place : place + random.randint(1, 4)] = b""
            case 1:
                data[place:place] = random.randbytes(random.randint(1, 4))
            case 2 if data:
                data[place % len(data)] ^= 1 << random.randrange(8)
            case 3:
                data[place:place] = random.choice(_ODD[:16])
            case 4:
                data = bytearray(random.randbytes(random.randint(0, 40)))
            case 5:
                data[place:place] = bytes(data)
            case _:
                data[place:place] = str(random.randint(-5, 70_000)).encode()
    return bytes(data)
