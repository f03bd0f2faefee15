"""Sources that go and come back, each with its real other end, and a layout whose light shows what follows.

L1 obeys its last command, given by accessory 61; T1 goes by where accessory 62 stands. Frames go to a file, so that
they can be read while there is no broker.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from pathlib import Path
from typing import ClassVar, Final

from tests.support.mosquitto import Mosquitto
from tests.support.waiting import PATIENCE, until

LAYOUT: Final = """\
layout: Gorse Halt
builds:
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
outputs:
  tape: {kind: file, path: %s}
nodes:
  halt: {output: tape, chains: [{name: one, fixtures: [{name: L1, build: three-lamp}, {name: T1, build: three-lamp}]}]}
signals:
  L1: {commands: {61: {normal: stop, reverse: clear}}}
  T1: {ahead: [{turnouts: {62: reverse}, beyond: clear}]}
turnouts: {62: {feedback: %s}}
sources:
  bus: %s
"""

RED, GREEN = "00ff00", "ff0000"


class Losing(ABC):
    """One way to lose a source.

    Attributes:
        source: what the layout file says of it.
        limit: the seconds within which it has to be lost: what its owner has set, or 0 where that is at once.
        why: what is told of it, as a regular expression.
        first: what L1 and T1 show before anything was said.
        proves: it tells where 62 is seen to stand; else T1 goes by where 62 was ordered.
    """

    limit: ClassVar[float] = 0.0
    why: ClassVar[str]
    first: ClassVar[tuple[str, str]] = (RED, RED)
    proves: ClassVar[bool] = True

    def __init__(self, folder: Path, broker: Mosquitto) -> None:
        self.folder = folder
        self.broker = broker
        self.source = ""

    @staticmethod
    def settings(folder: Path) -> tuple[str, ...]:
        """Return what the broker is to be told beside what it is always told."""
        del folder
        return ()

    @abstractmethod
    async def open(self) -> None:
        """Be there."""

    def layout(self, frames: Path) -> str:
        """Return the layout file, with the file that its frames go to."""
        return LAYOUT % (frames, "true" if self.proves else "false", self.source)

    @abstractmethod
    async def order(self, number: int) -> None:
        """Order an accessory reverse."""

    async def prove(self) -> None:
        """Say that 62 is seen to stand reverse; where nobody sees that, order it."""
        await self.order(62)

    @abstractmethod
    async def lose(self) -> None:
        """Go."""

    @abstractmethod
    async def back(self) -> None:
        """Come back, and say how things stand as soon as somebody listens, as such a source does by itself."""

    async def close(self) -> None:  # noqa: B027 - there is nothing to close for some
        """Be no more."""

    @property
    def page(self) -> str:
        """Where the daemon opens its page."""
        return "none"


class Light:
    """The file that the frames go to."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def levels(self) -> list[str]:
        """Return all that was shown, in order."""
        text = self.path.read_text(encoding="ascii") if self.path.exists() else ""
        return [line.split()[2] for line in text.splitlines() if line.count(" ") >= 2]

    async def until(self, *lamps: str, within: float = PATIENCE) -> None:
        """Wait until L1 and T1 show this."""
        await until(lambda: self.levels()[-1:] == ["".join(lamps)], lambda: str(self.levels()), within=within)
