"""A UDP socket towards one controller: found by its name off the event loop, opened, and told of when it fails."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from adapters.keys import at, is_address, version_of

INTERFACES: Final = Path("/proc/net/if_inet6")
"""Where Linux says which interface has which IPv6 address: 32 digits, and the number of the interface (proc(5))."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where packets go.

    Attributes:
        host: the controller's name or address; empty where packets go to multicast groups.
        port: its UDP port.
        takes: what it has to be set to take, in words: `E1.31`.
        local_address: the address of this machine to send from, or empty for the one that routes choose.
        local_port: the port to send from, or 0 for any.
    """

    host: str
    port: int
    takes: str
    local_address: str = ""
    local_port: int = 0

    def __str__(self) -> str:
        return at(self.host, self.port) if self.host else "the multicast groups of its universes"


class Trouble(NamedTuple):
    """Why there is no link, what to do about it, and the key of the layout file to look at."""

    why: str
    key: str


def find(target: Target, found: Callable[[str | Trouble], None]) -> None:
    """Have `found` called on the event loop with the controller's address, or with why there is none.

    An address is not looked up, and `found` is called at once. A name takes a daemon thread, and no executor: one
    that does not resolve can block for half a minute, and the end of the bridge would wait for it.
    """
    if not target.host or is_address(target.host):
        found(target.host)
        return
    loop = asyncio.get_running_loop()

    def look() -> None:
        try:
            answers = socket.getaddrinfo(target.host, target.port, socket.AF_UNSPEC, socket.SOCK_DGRAM)
            # Most controllers know IPv4 alone, and some networks give everybody an IPv6 address all the same.
            short = [address for family, *_, address in answers if family == socket.AF_INET]
            answer: str | Trouble = str((short or [answers[0][4]])[0][0])
        except OSError as problem:
            remedy = "write its name as this network knows it, or its address, such as 192.168.1.40"
            answer = Trouble(
                f"the host {target.host} is not known ({problem.strerror or problem}): {remedy}", "host"
            )
        if not loop.is_closed():
            loop.call_soon_threadsafe(found, answer)

    threading.Thread(target=look, name=f"find {target.host}", daemon=True).start()


def open_socket(target: Target, address: str) -> socket.socket:
    """Return a socket that does not block; towards a host it is connected, so that refusals are heard of.

    Raises:
        OSError: it cannot be opened; `trouble` says it in words.
    """
    long = version_of(address or target.local_address) == 6
    opened = socket.socket(socket.AF_INET6 if long else socket.AF_INET, socket.SOCK_DGRAM)
    try:
        opened.setblocking(False)
        if target.local_address or target.local_port:
            opened.bind(_numbers(target.local_address, target.local_port))
        if address:
            opened.connect(_numbers(address, target.port))
        elif long:
            interface = _interface_of(target.local_address)
            opened.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_MULTICAST_IF, interface)
        elif target.local_address:
            own = socket.inet_aton(target.local_address)
            opened.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, own)
    except OSError:
        opened.close()
        raise
    return opened


def _numbers(address: str, port: int) -> Any:
    """Return what a socket takes for an address: that of IPv6 has the number of an interface in it."""
    if ":" not in address:
        return (address, port)
    return socket.getaddrinfo(address, port, type=socket.SOCK_DGRAM, flags=socket.AI_NUMERICHOST)[0][4]


def _interface_of(address: str) -> int:
    """Return the number of the interface that has an IPv6 address; 0, which has the routes choose one, if none has."""
    found: int = _numbers(address, 0)[-1]
    if found:
        return found
    wanted = socket.inet_pton(socket.AF_INET6, address).hex()
    with contextlib.suppress(OSError, ValueError):
        for line in INTERFACES.read_text(encoding="ascii").splitlines():
            own, number, *_ = line.split()
            if own == wanted:
                return int(number, 16)
    return 0


def trouble(target: Target, problem: OSError) -> Trouble:
    """Return what an error of the socket means for the owner."""
    key = "host"
    match problem.errno:
        case errno.EADDRINUSE:
            key = "local-port"
            why = f"port {target.local_port} of this machine is in use: end what uses it, or leave `local-port` out"
        case errno.EADDRNOTAVAIL:
            key = "local-address"
            why = f"{target.local_address} is no address of this machine: write one that it has, or leave it out"
        case errno.ECONNREFUSED:
            why = f"nothing takes packets at {target}: switch the controller on, and set it to take {target.takes}"
        case errno.ENETUNREACH | errno.EHOSTUNREACH | errno.ENETDOWN | errno.EHOSTDOWN:
            why = f"no way leads to {target}: is this machine in the controller's network?"
            if not target.host:
                why = f"{why} With several networks say which by `local-address`"
        case errno.EACCES | errno.EPERM:
            why = (
                f"this machine may not send to {target} ({problem.strerror}): write the address of one controller"
                " and not of all, and look at the firewall"
            )
            if target.local_port:
                key = "local-port"
                why = f"this machine may not use port {target.local_port}: write one above 1023, or leave it out"
        case _:
            why = f"sending to {target} failed: {problem.strerror or problem}"
    return Trouble(why, key)
