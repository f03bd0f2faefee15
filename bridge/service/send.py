"""Send one fact by hand, on the topics that an MQTT source listens to."""

from __future__ import annotations

import json
from collections.abc import Sequence
from enum import StrEnum
from typing import Any, Final

from paho.mqtt import publish
from paho.mqtt.client import MQTTv311

from bridge.errors import LamproomError, LinkError
from bridge.events import BlockState, ButtonState, Position, PowerState
from bridge.layout.units import accessory as accessory_number
from bridge.layout.units import name as checked_name
from bridge.service.connection import BrokerAddress

TIMEOUT: Final = 5


class Fact(StrEnum):
    """What a fact can be about."""

    ACCESSORY = "accessory"
    ASPECT = "aspect"
    BLOCK = "block"
    POWER = "power"
    BUTTON = "button"
    CLOCK = "clock"


_WORDS: Final[dict[Fact, tuple[str, ...]]] = {
    Fact.BLOCK: tuple(state.value for state in BlockState),
    Fact.POWER: tuple(state.value for state in PowerState),
    Fact.BUTTON: tuple(state.value for state in ButtonState),
}


def fact_message(kind: Fact, words: Sequence[str], *, root: str, proved: bool) -> tuple[str, str]:
    """Return topic and payload of a fact.

    Raises:
        LamproomError: the words do not say a fact; the message says what would.
    """
    if kind is Fact.CLOCK:
        return f"{root}/clock", _clock(words)
    if len(words) != 2:
        raise LamproomError(f"{kind.value} needs two words, which one and what: such as {_example(kind)}")
    which, what = words
    try:
        if kind is Fact.ACCESSORY:
            return _accessory(accessory_number(which), what, root, proved=proved)
        if kind is Fact.ASPECT:
            number = accessory_number(which)
            if not what.isascii() or not what.isdigit() or int(what) > 255:
                raise LamproomError(f"{what!r} is no aspect number: write 0 to 255")
            return f"{root}/aspect/{number}", str(int(what))
        if what not in _WORDS[kind]:
            raise LamproomError(f"{what!r} does not fit a {kind.value}: write {' or '.join(_WORDS[kind])}")
        return f"{root}/{kind.value}/{checked_name(which)}", what
    except ValueError as problem:
        raise LamproomError(str(problem)) from None


def _accessory(number: int, what: str, root: str, *, proved: bool) -> tuple[str, str]:
    positions = [position.value for position in Position]
    allowed = positions if proved else [*positions[:2], "released"]
    what = {"closed": "normal", "thrown": "reverse"}.get(what, what)
    if what not in allowed:
        raise LamproomError(f"{what!r} does not fit an accessory: write {' or '.join(allowed)}")
    return f"{root}/accessory/{number}/{'proved' if proved else 'ordered'}", what


def _clock(words: Sequence[str]) -> str:
    said: dict[str, Any] = {}
    for word in words:
        if word == "stopped":
            said["running"] = False
        elif ":" in word:
            said["time"] = word
        else:
            try:
                rate = float(word)
            except ValueError:
                raise LamproomError(
                    f"{word!r} does not fit a clock: write 16:30, its rate, or stopped"
                ) from None
            said["rate"] = int(rate) if rate.is_integer() else rate
    if "time" not in said:
        raise LamproomError("the clock needs a time of day: such as `lamproom send clock 16:30 6`")
    return json.dumps(said)


def _example(kind: Fact) -> str:
    return {
        Fact.ACCESSORY: "accessory 61 reverse",
        Fact.ASPECT: "aspect 12 5",
        Fact.BLOCK: "block tarn-2 occupied",
        Fact.POWER: "power yard off",
        Fact.BUTTON: "button platform pressed",
        Fact.CLOCK: "clock 16:30",
    }[kind]


def send_fact(broker: BrokerAddress, topic: str, payload: str, *, retain: bool) -> None:
    """Publish one fact and wait until the broker has it.

    Raises:
        LinkError: the broker cannot be reached.
    """
    try:
        publish.single(
            topic, payload, qos=1, retain=retain, hostname=broker.host, port=broker.port, protocol=MQTTv311
        )
    except (OSError, ValueError) as problem:
        raise LinkError(
            f"the broker at {broker} cannot be reached ({problem}): is it running? give another with --broker",
            peer=str(broker),
        ) from None
