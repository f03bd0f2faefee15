"""What it costs to understand a packet from the rails, and that a million of them brings nothing but refusals."""

from __future__ import annotations

from random import Random
from typing import Any, Final

from adapters.contract import Raw
from adapters.events.dcc import DccOptions, DccSource
from adapters.testing import SourceBench
from bridge.errors import DecodeError
from tests.bench.rounds import Side, ratio, timed

SOUND: Final = tuple(bytes.fromhex(text) for text in ("90F868", "BF0700B8", "81F0EC1C0584", "033F80BC"))


def lines(count: int, seed: int) -> list[Raw]:
    """Return lines of which half were a packet and half never were; most are spoiled in a bit or a letter."""
    chance = Random(seed)  # noqa: S311 - the same lines each time
    made = []
    for number in range(count):
        packet = bytearray(chance.choice(SOUND) if number % 2 else chance.randbytes(chance.randrange(9)))
        if packet and number % 3:
            packet[chance.randrange(len(packet))] ^= 1 << chance.randrange(8)
        text = bytearray(packet.hex(" "), "ascii")
        if text and number % 5 == 0:
            text[chance.randrange(len(text))] = chance.randrange(256)
        made.append(Raw("rails", bytes(text)))
    return made


def packets(quick: bool) -> list[dict[str, Any]]:
    """Measure a million lines, in rounds of a tenth, beside reading nothing but their hexadecimal digits.

    Whatever a line is, it is understood or refused: any other exception ends this.
    """
    count = 500 if quick else 100_000
    source = DccSource("rails", DccOptions(serial="/dev/null"), SourceBench())
    one, other, refused = Side(), Side(), 0
    for seed in range(2 if quick else 10):
        said = lines(count, seed)

        def ours(said: list[Raw] = said) -> None:
            nonlocal refused
            for raw in said:
                try:
                    source.decode(raw, 0)
                except DecodeError:
                    refused += 1

        def bare(said: list[Raw] = said) -> None:
            for raw in said:
                try:
                    bytes.fromhex(raw.payload.decode("latin-1"))
                except ValueError:
                    continue

        one.rounds.append(timed(ours, 1))
        other.rounds.append(timed(bare, 1))
    return [
        {
            "lines": count * len(one.rounds),
            "refused": refused,
            "us a line": one.percentile(50) / count,
            "digits us": other.percentile(50) / count,
            "ratio": ratio(one, other, 50),
        }
    ]
