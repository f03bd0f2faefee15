"""What several outputs ask of the keys of the layout file, in words for the owner."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from ipaddress import IPv4Address
from typing import Annotated, Any, Final

from pydantic import BeforeValidator

from adapters.contract import ChainPlace, Claim, Fault
from adapters.cut import cut

LISTED: Final = 12
"""Chains that a message lists."""

_HOST: Final = re.compile(r"(?=.{1,253}\Z)[A-Za-z0-9_]([A-Za-z0-9_-]{0,62}\.?)*\Z")


_DIGITS: Final = re.compile(r"[0-9.]+")


def whole(what: str, least: int, most: int) -> BeforeValidator:
    """Return the check of a whole number; `what` is what it should be, with its article: `a universe`."""

    def check(value: Any) -> int:
        if type(value) is not int or not least <= value <= most:
            raise ValueError(f"{cut(str(value), 30)} is not {what}: write {least} to {most}")
        return value

    return BeforeValidator(check)


def _host(value: Any) -> str:
    text = str(value)
    if isinstance(value, bool | float) or not _HOST.fullmatch(text):
        raise ValueError(
            f"{cut(text, 40)} is no host: write its name or its address, such as 192.168.1.40, and the port by itself"
        )
    if _DIGITS.fullmatch(text) and not is_address(text):
        raise ValueError(
            f"{cut(text, 40)} is no address: it has four numbers from 0 to 255, such as 192.168.1.40"
        )
    if is_address(text) and IPv4Address(text).is_multicast:
        raise ValueError(f"{text} is a group and no host: write the address of one controller")
    return text


def _address(value: Any) -> str:
    if not is_address(str(value)):
        raise ValueError(
            f"{cut(str(value), 40)} is no address: write one of this machine, such as 192.168.1.2"
        )
    return str(value)


def is_address(host: str) -> bool:
    """Return whether a host is written as an IPv4 address, so that nobody has to be asked for it."""
    try:
        IPv4Address(host)
    except ValueError:
        return False
    return True


Host = Annotated[str, BeforeValidator(_host)]
"""A controller: its name in the network, or its IPv4 address."""

Address = Annotated[str, BeforeValidator(_address)]
"""An IPv4 address."""

Port = Annotated[int, whole("a port", 1, 65_535)]
"""A UDP port."""

Refresh = Annotated[int, whole("a number of frames a second", 1, 1000)]
"""Frames a second at the most."""


def look_at_chains(
    said: Mapping[str, object], places: Iterable[ChainPlace], example: str
) -> tuple[Fault, ...]:
    """Find chains of an output that its `chains` do not name, and names there that are none of its chains.

    Args:
        said: what `chains` holds, by `node/chain`.
        places: the chains that the output serves.
        example: what would be written for one: `{universe: 1}`.
    """
    own = [place.key for place in places]
    faults = [
        Fault(("chains", key), f"no chain of this output is called {cut(key, 60)!r}; {_there_are(own)}")
        for key in said
        if key not in own
    ]
    faults += [
        Fault(("chains",), f"nothing is said of the chain {key}: add `{key}: {example}`")
        for key in own
        if key not in said
    ]
    return tuple(faults)


def local_port_claim(address: str | None, port: int | None) -> tuple[Claim, ...]:
    """Return the claim of an output on the port that it sends from, if it names one."""
    if port is None:
        return ()
    space = f"of {address or 'this machine'}"
    return (Claim(space, "port", port, port, "one output alone", ("local-port",)),)


def too_many(claims: Iterable[Claim], allowed: range) -> tuple[Fault, ...]:
    """Find chains that begin within what is allowed and end behind it."""
    faults = []
    for claim in claims:
        if claim.last not in allowed:
            count = claim.last - claim.first + 1
            text = (
                f"{claim.owner} takes {count} {claim.unit}s, and the last is {allowed[-1]}:"
                f" begin at {allowed[-1] + 1 - count} or before"
            )
            faults.append(Fault(claim.keys, text))
    return tuple(faults)


def _there_are(own: list[str]) -> str:
    if not own:
        return "it has none: give a node the `output` of this name"
    more = f" and {len(own) - LISTED} more" if len(own) > LISTED else ""
    return f"it has {', '.join(own[:LISTED])}{more}"
