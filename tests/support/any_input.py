"""Whatever may come in at each built-in source, in an order that is the same in every run."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from functools import partial
from random import Random
from typing import Final, NamedTuple

from adapters.contract import EventSource, Raw
from adapters.events.clock import ClockOptions, ModelClockSource
from adapters.events.dcc import DccOptions, DccSource
from adapters.events.http import HttpFacts, HttpOptions
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import LccSource
from adapters.events.line import LineOptions, LineSource
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.events.pins import BoardPins, PinsOptions
from adapters.events.topics import MappedTopics, TopicsOptions
from adapters.outputs.node_talk import read_announcement, read_shown
from adapters.testing import SourceBench
from adapters.testing.inputs import spoiled
from tests.support.mapped import entry
from tests.support.rails import SENT_PREAMBLE, on_the_rails
from tests.support.spoiled import ENTRIES
from tests.support.spoiled import spoiled as spoiled_messages

FACTS: Final = (
    ("accessory/61/ordered", b"reverse"),
    ("accessory/2048/ordered", b"released"),
    ("accessory/61/proved", b"moving"),
    ("aspect/7", b"255"),
    ("block/tarn 2", b"occupied"),
    ("power/east", b"shorted"),
    ("button/shed", b"pressed"),
    ("use/signal/T4", b"out: lens broken"),
    ("use/turnout/61", b"absent"),
    ("clock", b'{"time": "06:45:30", "rate": 2.5, "running": true}'),
    ("lamp-test/chips/all", b"30 mark-1"),
    ("lamp-test/picture/tarn/throat", b"ff00ff 20"),
    ("lamp-test/end", b"any"),
)
"""Each fact once, by its topic without a root."""

PACKETS: Final = tuple(
    bytes.fromhex(text) for text in ("90F868", "BF0700B8", "81F0EC1C0584", "033F80BC", "BF8639")
)

LCC: Final = {
    "host": "127.0.0.1",
    "node-id": "01.02.03.04.05.06",
    "blocks": {
        "tarn": {"occupied": "01.02.03.04.05.06.00.01", "clear": "01.02.03.04.05.06.00.02"},
        "weir": {"sensor": 12},
    },
    "buttons": {"bell": {"pressed": "01.02.03.04.05.06.00.03", "released": "01.02.03.04.05.06.00.04"}},
    "power": {"main": {"off": "emergency-off", "on": "clear-emergency-off"}},
    "turnouts": {
        61: {"proved-normal": "01.02.03.04.05.06.00.05", "proved-reverse": "01.02.03.04.05.06.00.06"}
    },
}
_EVENTS: Final = (
    "0102030405060001",
    "0102030405060005",
    "0101020000FF0009",
    "0101020001002805",
    "0101020000FD0051",
    "010100000100080A",
    "010100000100C004",
    "010100000000FFFF",
)
_MTIS: Final = ("5B4", "544", "547", "545", "4C4", "4C7", "4C5", "914", "970", "490", "100", "701")

Inputs = Callable[[int, int], Iterator[Raw]]


class Entrance(NamedTuple):
    """Where inputs come in.

    Attributes:
        read: what has to understand them, or raise DecodeError.
        inputs: gives so many of them, by a seed.
        bare: what it costs at least to read a payload, whatever it means.
    """

    read: Callable[[Raw], object]
    inputs: Inputs
    bare: Callable[[bytes], object]


def _of(*samples: Raw) -> Inputs:
    """Return what gives spoiled samples, and one in eight as it should be."""

    def inputs(count: int, seed: int) -> Iterator[Raw]:
        made = spoiled(samples, Random(seed), count)  # noqa: S311 - the same in every run
        return (raw if number % 8 else samples[number // 8 % len(samples)] for number, raw in enumerate(made))

    return inputs


def rails(count: int, seed: int) -> Iterator[Raw]:
    """Give lines of which half were a packet and half never were; most are spoiled in a bit or a letter.

    One in four has a right error byte after that, and some are the bits on the rails.
    """
    chance = Random(seed)  # noqa: S311 - the same lines each time
    for number in range(count):
        packet = bytearray(chance.choice(PACKETS) if number % 2 else chance.randbytes(chance.randrange(9)))
        if packet and number % 3:
            packet[chance.randrange(len(packet))] ^= 1 << chance.randrange(8)
        if packet and number % 4 == 0:
            packet[-1] = 0
            for byte in packet[:-1]:
                packet[-1] ^= byte
        text = bytearray(packet.hex(chance.choice(" -:,")), "ascii")
        if number % 7 == 0:
            text = bytearray(on_the_rails(bytes(packet), chance.choice((9, 10, SENT_PREAMBLE, 30))), "ascii")
        if text and number % 5 == 0:
            text[chance.randrange(len(text))] = chance.randrange(256)
        yield Raw("rails", bytes(text))


def bus(count: int, seed: int) -> Iterator[Raw]:
    """Give frames of LCC by chance, most of them of a form that may mean something, some spoiled."""
    chance = Random(seed)  # noqa: S311 - the same frames each time

    def frame() -> bytes:
        data = (
            chance.choice(_EVENTS)
            if chance.random() < 0.8
            else chance.randbytes(chance.randrange(10)).hex().upper()
        )
        if chance.random() < 0.3:
            place = chance.randrange(len(data) + 1)
            data = f"{data[:place]}{chance.randrange(16):X}{data[place + 1 :]}"
        kind = chance.choice(_MTIS) if chance.random() < 0.9 else f"{chance.randrange(4096):03X}"
        return f":X1{chance.choice('99910')}{kind}{chance.randrange(4096):03X}N{data};".encode()

    plain = [Raw("05.01.01.01.9A.3C", frame()) for _ in range(200)]
    for number in range(count):
        match number % 4:
            case 0:
                yield from spoiled(plain, chance, 1)
            case 1:
                yield Raw("127.0.0.1:12021", frame() + frame())
            case _:
                yield Raw("05.01.01.01.9A.3C", frame())


def messages(count: int, seed: int) -> Iterator[Raw]:
    """Give mapped messages of several conventions."""
    return (Raw(topic, payload, retained) for topic, payload, retained in spoiled_messages(count, seed))


def _json(payload: bytes) -> object:
    with contextlib.suppress(ValueError, RecursionError):
        return json.loads(payload)
    return None


def _digits(payload: bytes) -> object:
    with contextlib.suppress(ValueError):
        return bytes.fromhex(payload.decode("latin-1"))
    return None


def _text(payload: bytes) -> object:
    return payload.decode(errors="replace").split(" ")


def sources() -> dict[str, tuple[EventSource, Inputs, Callable[[bytes], object]]]:
    """Return all built-in sources by their kinds, each called `bus`, with what may come and what reading costs."""
    host = SourceBench()
    clock = b'{"time": "06:00", "running": true, "rate": 2.5}'
    pins = {"buttons": {"bell": 17, "door": {"pin": 27, "active": "high"}}}
    mapped = MappedTopics("bus", TopicsOptions(messages=tuple(map(entry, ENTRIES))), host)
    return {
        "mqtt": (
            MqttFacts("bus", MqttFactsOptions(), host),
            _of(*(Raw(f"layout/{topic}", payload) for topic, payload in FACTS)),
            _text,
        ),
        "topics": (mapped, messages, _json),
        "lcc": (LccSource("bus", LccOptions.model_validate(LCC), host), bus, _text),
        "dcc": (DccSource("bus", DccOptions(serial="/dev/null", offset=4), host), rails, _digits),
        "line": (
            LineSource("bus", LineOptions(), host),
            _of(*(Raw("127.0.0.1", f"{topic}\t".encode() + payload) for topic, payload in FACTS)),
            _text,
        ),
        "http": (
            HttpFacts("bus", HttpOptions(), host),
            _of(*(Raw(topic, payload) for topic, payload in FACTS)),
            _text,
        ),
        "pins": (
            BoardPins("bus", PinsOptions.model_validate(pins), host),
            _of(Raw("GPIO17", b"low"), Raw("GPIO27", b"high")),
            _text,
        ),
        "model-clock": (
            ModelClockSource("bus", ClockOptions(), host),
            _of(Raw("start", clock, retained=True)),
            _json,
        ),
    }


def entrances() -> dict[str, Entrance]:
    """Return the entrances of all built-in sources, and those of what nodes say."""
    found = {
        kind: Entrance(partial(_decode, source), inputs, bare)
        for kind, (source, inputs, bare) in sources().items()
    }
    shown = _of(*(Raw("shown", text) for text in (b"512 17", b"4294967295 0", b" 0 1\n")))
    here = _of(
        *(
            Raw("node", text)
            for text in (b'{"state": "here", "term": 513, "uptime": 4}', b'{"state": "gone"}')
        )
    )
    found["acknowledgement"] = Entrance(lambda raw: read_shown(raw.payload), shown, _text)
    found["announcement"] = Entrance(lambda raw: read_announcement(raw.payload), here, _json)
    return found


def _decode(source: EventSource, raw: Raw) -> object:
    return source.decode(raw, 0)
