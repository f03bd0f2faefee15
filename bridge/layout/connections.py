"""What a layout is connected to: sources of events, outputs of frames, and the broker."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from bridge.layout.findings import Mark


@dataclass(frozen=True, slots=True)
class Source:
    """An event source; all times in ns.

    Attributes:
        name: as the layout file has it.
        kind: the adapter.
        repeat_window: how long the same order again is a repeat, 0 for never.
        refresh_every: how often it sends every order of its own again, 0 for not at all.
        lost_after: how long it may be quiet, 0 for ever.
        options: the adapter's own keys.
        mark: its place in the file.
    """

    name: str
    kind: str
    repeat_window: int
    refresh_every: int
    lost_after: int
    options: dict[str, Any]
    mark: Mark


@dataclass(frozen=True, slots=True)
class Output:
    """A frame output.

    Attributes:
        name: as the layout file has it.
        kind: the adapter.
        options: its own.
        mark: its place in the file.
        marks: the places of what its options say, by their keys.
        fault: why it cannot be used as it is written, or empty.
    """

    name: str
    kind: str
    options: dict[str, Any]
    mark: Mark
    marks: dict[tuple[str | int, ...], Mark] = field(default_factory=dict)
    fault: str = ""


@dataclass(frozen=True, slots=True)
class BrokerPlace:
    """Where the MQTT broker is, and who we are there."""

    host: str = "127.0.0.1"
    port: int = 1883
    user: str = ""
    password_file: str = ""
