"""Send one fact by hand, on the topics that an MQTT source listens to."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, Final

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from bridge.errors import LamproomError, LinkError
from bridge.events import ASPECT_NUMBERS, BlockState, ButtonState, Position, PowerState, Subject
from bridge.layout.findings import choice, either
from bridge.layout.units import accessory as accessory_number
from bridge.layout.units import name as checked_name
from bridge.service.connection import BrokerAddress

TIMEOUT: Final = 5.0
"""Seconds that the broker has to take the fact, from the first packet on."""

RATE_QUARTERS: Final = range(1, 2048)
"""Rates of the model clock in quarter steps."""


class Fact(StrEnum):
    """What a fact can be about."""

    ACCESSORY = "accessory"
    ASPECT = "aspect"
    BLOCK = "block"
    POWER = "power"
    BUTTON = "button"
    CLOCK = "clock"
    USE = "use"


_ORDERS: Final = ("normal", "reverse", "closed", "thrown", "released")
_PROVED: Final = ("normal", "reverse", "closed", "thrown", "moving", "unknown")
_SAME: Final = {"closed": Position.NORMAL.value, "thrown": Position.REVERSE.value}
_WORDS: Final[dict[Fact, tuple[str, tuple[str, ...]]]] = {
    Fact.BLOCK: ("a block is never", tuple(state.value for state in BlockState)),
    Fact.POWER: ("track power is never", tuple(state.value for state in PowerState)),
    Fact.BUTTON: ("a button is never", tuple(state.value for state in ButtonState)),
}
_EXAMPLES: Final = {
    Fact.ACCESSORY: "accessory 61 reverse",
    Fact.ASPECT: "aspect 12 5",
    Fact.BLOCK: "block tarn-2 occupied",
    Fact.POWER: "power yard off",
    Fact.BUTTON: "button platform pressed",
    Fact.CLOCK: "clock 16:30 6",
    Fact.USE: "use signal T4 out",
}
_TIME: Final = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?", re.ASCII)


def fact_message(kind: str, words: Sequence[str], *, root: str, proved: bool) -> tuple[str, str]:
    """Return topic and payload of a fact.

    Raises:
        LamproomError: the words do not say a fact; the message says what would.
    """
    if kind not in list(Fact):
        raise LamproomError(f"{kind!r} cannot be sent; {choice(kind, Fact)}")
    fact = Fact(kind)
    _look_at_root(root)
    if proved and fact is not Fact.ACCESSORY:
        raise LamproomError(
            f"--proved belongs to an accessory: leave it out, since a {fact} is sent as it is"
        )
    if fact is Fact.CLOCK:
        return f"{root}/clock", _clock(words)
    if fact is Fact.USE:
        return _use(words, root)
    if len(words) != 2:
        raise LamproomError(f"`{fact}` needs two words, which one and what: such as `{_EXAMPLES[fact]}`")
    which, what = words
    try:
        if fact is Fact.ACCESSORY:
            return _accessory(accessory_number(which), what, root, proved=proved)
        if fact is Fact.ASPECT:
            return f"{root}/aspect/{accessory_number(which)}", _aspect(what)
        never, allowed = _WORDS[fact]
        return f"{root}/{fact}/{checked_name(which)}", _word(what, allowed, f"{never} {what!r}")
    except ValueError as problem:
        raise LamproomError(str(problem)) from None


def kept_in_vain(kind: str) -> bool:
    """Whether the broker's kept copy of such a fact would be a copy of an order, which nobody obeys."""
    return kind in (Fact.ACCESSORY, Fact.ASPECT, Fact.BUTTON)


def _use(words: Sequence[str], root: str) -> tuple[str, str]:
    """`signal T4 out lamp broken`: what, which one, whether it is out, and a reason of any number of words."""
    if len(words) < 3 or words[0] not in tuple(Subject) or words[2] not in ("out", "absent", "in-use"):
        kinds = either(Subject)
        raise LamproomError(
            f"`use` needs {kinds}, its name, and out, absent or in-use: such as `{_EXAMPLES[Fact.USE]}`"
        )
    subject, which, state, *why = words
    if why and state != "out":
        raise LamproomError(f"only what is out of use has a reason: leave {' '.join(why)!r} out")
    try:
        topic = f"{root}/use/{subject}/{checked_name(which)}"
    except ValueError as problem:
        raise LamproomError(str(problem)) from None
    return topic, f"out: {' '.join(why)}" if why else state


def _look_at_root(root: str) -> None:
    """Refuse a topic that no source of the bridge could listen below."""
    why = ""
    if "+" in root or "#" in root:
        why = "has a wildcard (+ or #)"
    elif "" in root.split("/"):
        why = "is empty, or begins, ends or doubles a /"
    elif root.startswith("$"):
        why = "begins with $, which brokers keep for themselves"
    elif not root.isprintable() or len(root) > 128:
        why = "is too long, or has a character that cannot be printed"
    if why:
        raise LamproomError(f"--root {root!r} {why}: name one topic, such as layout")


def _word(what: str, allowed: Iterable[str], refused: str) -> str:
    if what in allowed:
        return what
    near = f"; did you mean {what.lower()}?" if what.lower() in allowed else ""
    raise LamproomError(f"{refused}: write {either(allowed)}{near}")


def _accessory(number: int, what: str, root: str, *, proved: bool) -> tuple[str, str]:
    if not proved and what.lower() in (Position.MOVING, Position.UNKNOWN):
        raise LamproomError(
            f"nobody orders an accessory to be {what.lower()}: add --proved if that is what it was seen to be"
        )
    refused = f"an accessory is never {'proved' if proved else 'ordered'} {what!r}"
    what = _word(what, _PROVED if proved else _ORDERS, refused)
    return f"{root}/accessory/{number}/{'proved' if proved else 'ordered'}", _SAME.get(what, what)


def _aspect(what: str) -> str:
    if not (what.isascii() and what.isdigit() and len(what) <= 3 and int(what) in ASPECT_NUMBERS):
        raise LamproomError(f"{what!r} is no aspect number: write 0 to {ASPECT_NUMBERS[-1]}")
    return str(int(what))


def _clock(words: Sequence[str]) -> str:
    said: dict[str, Any] = {}
    for word in words:
        key, value = _clock_word(word)
        if key in said:
            raise LamproomError(f"{word!r} says a second time what the clock should do: say each thing once")
        said[key] = value
    if "time" not in said:
        raise LamproomError(f"the clock needs a time of day: such as `{_EXAMPLES[Fact.CLOCK]}`")
    return json.dumps(said)


def _clock_word(word: str) -> tuple[str, Any]:
    if word == "stopped":
        return "running", False
    if _TIME.fullmatch(word):
        return "time", word
    if ":" in word:
        raise LamproomError(
            f"{word!r} is no time of day: write HH:MM or HH:MM:SS up to 23:59:59, such as 16:30"
        )
    try:
        rate = Decimal(word)
    except InvalidOperation:
        raise LamproomError(
            f"{word!r} does not fit a clock: write a time such as 16:30, then its rate, or stopped"
        ) from None
    # The bounds come first: they are cheap for an exponent of any size, and multiplying is not.
    if not (rate.is_finite() and 0 < rate < len(RATE_QUARTERS) and rate * 4 in RATE_QUARTERS):
        raise LamproomError(
            f"{word!r} is no rate of a clock: write 0.25 to 511.75 in steps of a quarter, or stopped"
        )
    return "rate", int(rate) if rate == int(rate) else float(rate)


def send_fact(broker: BrokerAddress, topic: str, payload: str, *, retain: bool) -> None:
    """Publish one fact and wait until the broker has it.

    Raises:
        LinkError: the broker cannot be reached, or refuses us.
    """
    deadline = time.monotonic() + TIMEOUT
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv311, reconnect_on_failure=False
    )
    client.connect_timeout = TIMEOUT
    if broker.user is not None:
        client.username_pw_set(broker.user, broker.password)
    answers: list[ReasonCode] = []
    taken: list[int] = []
    client.on_connect = lambda _client, _data, _flags, reason, _properties: answers.append(reason)
    client.on_publish = lambda _client, _data, number, _reason, _properties: taken.append(number)
    try:
        client.connect(broker.host, broker.port)
    except (OSError, ValueError) as problem:
        raise _unreachable(broker, getattr(problem, "strerror", None) or str(problem)) from None
    _wait(client, broker, lambda: bool(answers), deadline)
    if answers[0].is_failure:
        raise _refused(broker, answers[0].getName())
    client.publish(topic, payload, qos=1, retain=retain)
    _wait(client, broker, lambda: bool(taken), deadline)
    client.disconnect()


def _wait(client: mqtt.Client, broker: BrokerAddress, done: Callable[[], bool], deadline: float) -> None:
    while not done():
        left = deadline - time.monotonic()
        if left <= 0:
            raise _unreachable(broker, f"no answer within {TIMEOUT:g} s")
        if client.loop(left) != MQTTErrorCode.MQTT_ERR_SUCCESS and not done():
            raise _unreachable(broker, "it closed the connection")


def _unreachable(broker: BrokerAddress, why: str) -> LinkError:
    return LinkError(
        f"the broker at {broker} cannot be reached ({why}): is it running? give another with --broker",
        peer=str(broker),
    )


def _refused(broker: BrokerAddress, why: str) -> LinkError:
    remedy = "give --user and --password-file"
    if broker.user is not None:
        remedy = "look at --user and --password-file"
    return LinkError(f"the broker at {broker} refused us ({why}): {remedy}", peer=str(broker))
