"""What a DCC packet says, in a sentence. Pure."""

from __future__ import annotations

from typing import Final

from adapters.events.dcc_packets import (
    IDLE,
    RESET,
    AccessoryNop,
    BasicAccessory,
    ExtendedAccessory,
    OldProgramming,
    Operation,
    OtherPacket,
    Packet,
    Programming,
    ReservedAccessory,
    decoder_of,
)

_INSTRUCTIONS: Final = (
    "decoder and consist control",
    "an advanced operation, such as speed in 128 steps",
    "speed in reverse",
    "speed forward",
    "functions of group one",
    "functions of group two",
    "feature expansion, such as more functions",
    "access to a configuration variable",
)
"""By the three highest bits of the first byte behind the address, NMRA S-9.2.1 part C."""

_OPERATIONS: Final = {
    Operation.RESERVED: "something reserved is done with",
    Operation.VERIFY: "a value is compared with",
    Operation.BIT: "one bit is written or compared in",
    Operation.WRITE: "a value is written to",
}


def describe(packet: Packet) -> str:
    """Return what a packet says, for a person: a sentence without its full stop."""
    match packet:
        case BasicAccessory():
            return _basic(packet)
        case ExtendedAccessory():
            return _extended(packet)
        case AccessoryNop(number, extended):
            form = "extended" if extended else "basic"
            return (
                f"no operation for {form} accessory {number}: its decoder may answer, and nothing is ordered"
            )
        case Programming():
            return _programming(packet)
        case OldProgramming(decoder, variable, value):
            return (
                f"programming in the old form: {value} is written to variable {variable} of accessory decoder {decoder}"
                ", and nothing is ordered"
            )
        case ReservedAccessory():
            return (
                "a packet for accessories of a form that the standard leaves free: nothing is ordered by it"
            )
        case OtherPacket(content):
            return f"{_other(content)}; it is not for an accessory"


def _basic(packet: BasicAccessory) -> str:
    if packet.emergency_stop:
        return "basic accessory packet: emergency stop of all basic accessories"
    decoder, pair = decoder_of(packet.number)
    one = f"accessory {packet.number} (decoder {decoder}, pair {pair})"
    every = f"all basic accessories on pair {pair} of their decoders (broadcast, as number {packet.number})"
    who, verb = (every, "are") if packet.broadcast else (one, "is")
    if packet.active:
        return f"basic accessory packet: {who} {verb} ordered {packet.position.value}"
    output = f"the output for {packet.position.value} of {who} is released"
    return f"basic accessory packet: {output}, which orders nothing"


def _extended(packet: ExtendedAccessory) -> str:
    every = f"all extended accessories (broadcast, as number {packet.number}) are"
    who = every if packet.broadcast else f"accessory {packet.number} is"
    stop = ", absolute stop" if packet.aspect == 0 else ""
    emergency = ": the emergency stop" if packet.emergency_stop else ""
    return f"extended accessory packet: {who} ordered to show aspect {packet.aspect}{stop}{emergency}"


def _programming(packet: Programming) -> str:
    if packet.extended:
        who = f"extended accessory {packet.number}"
    elif packet.output is None:
        who = f"accessory decoder {decoder_of(packet.number)[0]}"
    else:
        who = f"the output for {packet.output.value} of accessory {packet.number}"
    form = "" if packet.sequence is None else " in the long form"
    data = f" ({packet.data.hex(' ').upper()})" if packet.data else ""
    return (
        f"programming{form}: {_OPERATIONS[packet.operation]} variable {packet.variable} of {who}{data}"
        ", and nothing is ordered"
    )


def _other(content: bytes) -> str:
    first = content[0]
    if content == IDLE:
        return "idle packet"
    if content == RESET:
        return "reset packet for all decoders"
    if first == 0:
        return f"packet for all locomotives: {_INSTRUCTIONS[content[1] >> 5]}"
    if first < 0x80:
        return f"packet for locomotive {first}: {_INSTRUCTIONS[content[1] >> 5]}"
    if first in range(0xC0, 0xE8) and len(content) > 2:
        address = (first & 0x3F) << 8 | content[1]
        return f"packet for locomotive {address} (long address): {_INSTRUCTIONS[content[2] >> 5]}"
    return "packet of a form that the standard keeps for itself"
