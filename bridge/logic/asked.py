"""What can be asked of the logic from outside: how a thing stands, and what it goes by. Asking changes nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bridge.events import Subject
from bridge.logic.crossing import Crossings
from bridge.logic.device import Device, SignalDevice
from bridge.logic.interlocking import Interlocking
from bridge.logic.known import BLOCK, CROSSING, ORDERED, PROVED, Key
from bridge.logic.reasons import Choice
from bridge.logic.rests import Hold, Lack, Rest
from bridge.logic.track import Track
from bridge.logic.working_out import Ahead, in_order


class Asked:
    """Answers for everything that has a state: devices, what is over several of them, and crossings.

    Attributes:
        out_of_use: what is, each with the reason and the event.
    """

    def __init__(
        self,
        devices: Sequence[Device],
        track: Track,
        interlocking: Interlocking,
        crossings: Crossings,
        node_of: Mapping[str, str],
        lost: Mapping[str, str],
        out_of_use: Mapping[tuple[Subject, str], tuple[str, int]],
    ) -> None:
        """Look into the parts of a board.

        Args:
            devices: all of them, and those that are over several.
            track: what is known.
            interlocking: the gates.
            crossings: all of them.
            node_of: the node of each signal.
            lost: why what a signal shows cannot be relied upon, by its name; empty where it can.
            out_of_use: what is, each with the reason and the event.
        """
        self.out_of_use = out_of_use
        self._devices = {device.name: device for device in reversed(devices)}
        self._track = track
        self._interlocking = interlocking
        self._crossings = crossings
        self._node_of = node_of
        self._lost = lost

    def state_of(self, name: str) -> Choice:
        """Return what a thing shows, and why.

        Raises:
            KeyError: nothing is called so.
        """
        device = self._devices.get(name)
        if device is not None:
            return device.shown
        fact = self._track.known.get((CROSSING, name))
        if fact is None:
            raise KeyError(name)
        return Choice(fact.value, fact.why, in_order([fact.event]))

    def rests_on(self, name: str) -> tuple[Rest, ...]:
        """Return all that a thing goes by, in the order of the file; nothing for what is not there.

        Of a turnout that counts where it stands, or what it was ordered, and not the other.
        """
        device = self._devices.get(name)
        if device is None:
            return tuple(self.rest((BLOCK, block)) for block in self._crossings.blocks(name))
        told = {key for part in device.controls if not isinstance(part, Ahead) for key in part.keys}
        return tuple(self.rest(key) for key in device.keys if key in told or self._counts(key))

    def node_of(self, signal: str) -> str:
        """Return the node of a signal, or nothing for whatever is none."""
        return self._node_of.get(signal, "")

    def keys(self, name: str) -> tuple[Key, ...]:
        """Return all that a thing has to hear of."""
        device = self._devices.get(name)
        if device is None:
            return tuple((BLOCK, block) for block in self._crossings.blocks(name))
        return device.keys

    def neighbours(self, signal: str) -> tuple[str, ...]:
        """Return the interlocked signals for which one may have to wait, or they for it."""
        return self._interlocking.neighbours.get(signal, ())

    def _counts(self, key: Key) -> bool:
        if key[0] not in (ORDERED, PROVED):
            return True
        return key[0] == (PROVED if self._track.known.standing(int(key[1])).proved else ORDERED)

    def rest(self, key: Key) -> Rest:
        """Return what is known of one thing."""
        rest = self._track.rest(key)
        if rest.lack is Lack.NODE:
            name = str(key[1])
            if self._lost.get(name):
                return rest._replace(lack=Lack.WIRING, about=name)
            return rest._replace(about=self._node_of.get(name, ""))
        return rest

    def hold(self, name: str) -> Hold | None:
        """Return how the gate of a signal stands, or None for whatever has none."""
        device = self._devices.get(name)
        return device.hold(self._interlocking.others(name)) if isinstance(device, SignalDevice) else None

    def calls(self, crossing: str) -> list[str]:
        """Return in words why each track keeps a crossing closed that does."""
        return self._crossings.calls(crossing)
