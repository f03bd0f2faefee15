"""Ways in which a file of lines may be damaged: by a disk, by a copy, by a program, or by hand."""

from __future__ import annotations

import json
from collections.abc import Callable
from random import Random
from typing import Any, Final, TypeAlias

Damage: TypeAlias = Callable[[bytes, Random], bytes]

_ODD: Final[tuple[Any, ...]] = (
    None,
    True,
    0,
    -1,
    7,
    2**31,
    2**63 - 1,
    2**63,
    10**40,
    1.5,
    float("nan"),
    "",
    "zz",
    "00",
    "ferry/bank",
    "\udc80",
    [],
    [[]],
    [1, 2, 3],
    {},
    {"kind": "accessory-ordered"},
)
"""Values of the wrong sort, or of the right one and out of all bounds."""


def flip_bits(data: bytes, chance: Random) -> bytes:
    """Flip a few bits."""
    damaged = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
    return bytes(damaged)


def change_digit(data: bytes, chance: Random) -> bytes:
    """Put another digit in the place of one, which leaves every line well formed."""
    places = [place for place, byte in enumerate(data) if 0x30 <= byte <= 0x39]
    if not places:
        return data
    place = chance.choice(places)
    return data[:place] + str(chance.randrange(10)).encode() + data[place + 1 :]


def cut_off(data: bytes, chance: Random) -> bytes:
    """Lose the end."""
    return data[: chance.randrange(len(data))]


def cut_out(data: bytes, chance: Random) -> bytes:
    """Lose something in the middle."""
    begin = chance.randrange(len(data))
    return data[:begin] + data[begin + chance.choice((1, 2, 40, 700)) :]


def overwrite(data: bytes, chance: Random) -> bytes:
    """Have a block of zeros, or of anything, in the place of what was there."""
    begin, length = chance.randrange(len(data)), chance.choice((1, 16, 512))
    filler = bytes(length) if chance.randrange(2) else chance.randbytes(length)
    return data[:begin] + filler + data[begin + length :]


def lose_line(data: bytes, chance: Random) -> bytes:
    """Lose a line."""
    lines = data.splitlines(keepends=True)
    del lines[chance.randrange(len(lines))]
    return b"".join(lines)


def repeat_line(data: bytes, chance: Random) -> bytes:
    """Have a line twice, the second time anywhere behind the first."""
    lines = data.splitlines(keepends=True)
    place = chance.randrange(len(lines))
    lines.insert(chance.choice((place + 1, chance.randint(place + 1, len(lines)))), lines[place])
    return b"".join(lines)


def swap_lines(data: bytes, chance: Random) -> bytes:
    """Have two lines in each other's place."""
    lines = data.splitlines(keepends=True)
    one = chance.randrange(len(lines))
    other = chance.choice((min(one + 1, len(lines) - 1), chance.randrange(len(lines))))
    lines[one], lines[other] = lines[other], lines[one]
    return b"".join(lines)


def recode(data: bytes, chance: Random) -> bytes:
    """Have a line, or the rest of the file, in another encoding."""
    lines = data.splitlines(keepends=True)
    begin = chance.randrange(len(lines))
    end = chance.choice((begin + 1, len(lines)))
    coding = chance.choice(("utf-16", "utf-16-be", "utf-32", "latin-1", "utf-8-sig", "cp500"))
    said = b"".join(lines[begin:end]).decode("utf-8", "replace").encode(coding, "replace")
    return b"".join(lines[:begin]) + said + b"".join(lines[end:])


def change_value(data: bytes, chance: Random) -> bytes:
    """Have another value anywhere in a line, of any sort; the line is good JSON still."""
    lines = data.splitlines(keepends=True)
    place = chance.randrange(len(lines))
    try:
        said = json.loads(lines[place])
    except ValueError:
        return data
    if not isinstance(said, dict):
        return data
    holders = _holders(said)
    holder = chance.choice(holders)
    key = chance.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
    if chance.randrange(6):
        holder[key] = chance.choice(_ODD)
    else:
        del holder[key]
    lines[place] = json.dumps(said).encode() + b"\n"
    return b"".join(lines)


def _holders(value: Any) -> list[Any]:
    """Return every object and list within a value that has something in it, itself first."""
    found = [value] if value else []
    for each in value.values() if isinstance(value, dict) else value:
        if isinstance(each, dict | list):
            found += _holders(each)
    return found


DAMAGES: Final[tuple[Damage, ...]] = (
    flip_bits,
    change_digit,
    cut_off,
    cut_out,
    overwrite,
    lose_line,
    repeat_line,
    swap_lines,
    recode,
    change_value,
)
