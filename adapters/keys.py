"""What several adapters ask of the keys of the layout file, in words for the owner."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from ipaddress import IPv4Address, IPv6Address, ip_address
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
    if ":" in text and version_of(text.partition("%")[0]) == 6:
        return _long_address(text, "a group and no host: write the address of one controller")
    return _short_host(value)


def _short_host(value: Any) -> str:
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


def _long_address(text: str, group: str) -> str:
    """Return an IPv6 address in its usual spelling (RFC 5952), so that one address is one word."""
    address = IPv6Address(text)
    if address.is_multicast:
        raise ValueError(f"{text} is {group}")
    if address.is_link_local and not address.scope_id:
        raise ValueError(
            f"{text} is no host by itself, since each network has such addresses: write the interface of this machine"
            f" behind it, such as {text}%eth0"
        )
    return str(address)


def _address(value: Any) -> str:
    text = str(value)
    if ":" in text and version_of(text.partition("%")[0]) == 6:
        return _long_address(text, "a group: write an address of this machine")
    return _short_address(value)


def _short_address(value: Any) -> str:
    if version_of(str(value)) != 4:
        raise ValueError(
            f"{cut(str(value), 40)} is no address: write one of this machine, such as 192.168.1.2"
        )
    return str(value)


def version_of(host: str) -> int:
    """Return the version of the Internet Protocol that a host is an address of, 4 or 6; 0 where it is a name."""
    try:
        return ip_address(host).version
    except ValueError:
        return 0


def is_address(host: str) -> bool:
    """Return whether a host is written as an address, so that nobody has to be asked for it."""
    return version_of(host) != 0


def at(host: str, port: int) -> str:
    """Return host and port in one word."""
    return f"[{host}]:{port}" if version_of(host) == 6 else f"{host}:{port}"


def one_version(host: str | None, local_address: str | None) -> tuple[Fault, ...]:
    """Find two addresses between which nothing can be sent."""
    versions = {version_of(address) for address in (host, local_address) if address} - {0}
    if len(versions) < 2:
        return ()
    text = f"nothing goes from {local_address} to {host}: write two IPv4 or two IPv6 addresses, or leave this one out"
    return (Fault(("local-address",), text),)


Host = Annotated[str, BeforeValidator(_host)]
"""A controller: its name in the network, or its IPv4 or IPv6 address."""

ShortHost = Annotated[str, BeforeValidator(_short_host)]
"""A controller: its name in the network, or its IPv4 address."""

Address = Annotated[str, BeforeValidator(_address)]
"""An IPv4 or IPv6 address."""

ShortAddress = Annotated[str, BeforeValidator(_short_address)]
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
