"""What stands at the two ends of a layout: the broker, the sources that tell, and the outputs that show."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from bridge.layout.findings import Mark


@dataclass(frozen=True, slots=True)
class Source:
    """An event source: the adapter, how long it repeats an order (ns), and the adapter's own options."""

    name: str
    kind: str
    repeat_window: int
    options: dict[str, Any]
    mark: Mark


@dataclass(frozen=True, slots=True)
class Output:
    """A frame output: the adapter, its own options, and the places of what they say in the file, by their keys."""

    name: str
    kind: str
    options: dict[str, Any]
    mark: Mark
    marks: dict[tuple[str | int, ...], Mark] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BrokerPlace:
    """Where the MQTT broker is, and who we are there."""

    host: str = "127.0.0.1"
    port: int = 1883
    user: str = ""
    password_file: str = ""
