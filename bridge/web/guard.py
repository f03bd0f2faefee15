"""Who may talk to the page: whoever typed its address, and nobody's web site.

A site that a reader visits elsewhere can make the browser call addresses on the reader's own network. Two
checks keep it out. The Host must be something no stranger's name server can answer for (an address, or a
name that the owner chose), which ends DNS rebinding. An Origin, where the browser sends one, must be the
page itself (RFC 6454, section 7.3), which ends foreign scripts and foreign websockets.
"""

from __future__ import annotations

from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit

HEADERS: Final = {
    "Content-Security-Policy": "default-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'; object-src 'none'",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
}
"""Sent with every answer: nothing from elsewhere, nothing inline, nothing kept."""


def refusal(host: str | None, origin: str | None, bound: str) -> str | None:
    """Return why a request is refused, in words for the person at the browser, or None if it may pass.

    Args:
        host: the Host header.
        origin: the Origin header; absent for a plain visit.
        bound: the host that the page was started with.
    """
    name = host_name(host or "")
    if name is None:
        return "The request names no usable host."
    if name not in {"localhost", bound.lower()} and not _is_address(name):
        return (
            f"This page does not answer to the name {name!r}: use its IP address, or start it with that name."
        )
    if origin is not None and not _same_place(origin, host or ""):
        return f"This page answers only to itself, not to a script from {origin[:100]!r}."
    return None


def host_name(host: str) -> str | None:
    """Return the name or address in a Host header, without port and brackets, or None if it is not one."""
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port  # reading it is what checks it
    except ValueError:
        return None
    if parts.netloc != host or "@" in host:
        return None
    return parts.hostname or None


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True


def _same_place(origin: str, host: str) -> bool:
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    return parts.scheme in {"http", "https"} and parts.netloc.lower() == host.lower()
