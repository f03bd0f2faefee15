"""What is true of a small track by all that was said of it, worked out from the history and not step by step."""

from __future__ import annotations

from typing import Final, NamedTuple

from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    Authority,
    BlockReported,
    Event,
    PowerReported,
)

SETTLE: Final = 2 * SECOND
CLEAR_AFTER: Final = 3 * SECOND // 2


class Said(NamedTuple):
    """What was said last of one thing, by whom, and since when it has been said without a break."""

    value: str
    source: str
    since: int


class SidedTrack:
    """The track beside the signals of a mixture.

    Attributes:
        now: the present instant.
        out: what is out of use, as `subject/name`.
        absent: what of that is not there at all.
        silent: nodes that do not answer.
    """

    def __init__(self) -> None:
        self.now = 0
        self.out: set[str] = set()
        self.absent: set[str] = set()
        self.silent: set[str] = set()
        self._said: dict[tuple[str, int | str], Said] = {}
        self._was_proved: set[int] = set()
        self._in_use_since: dict[str, int] = {}

    def hear(self, event: Event) -> None:
        """Take what somebody in use says of the track."""
        match event:
            case AccessoryOrdered():
                self._take(("ordered", event.number), event.position, event, event.authority)
            case AccessoryProved():
                self._was_proved.add(event.number)
                self._take(("proved", event.number), event.position, event, event.authority)
            case BlockReported():
                self._take(("block", event.name), event.state, event, event.authority)
            case PowerReported():
                self._take(("power", event.district), event.state, event, event.authority)

    def _take(self, key: tuple[str, int | str], value: str, event: Event, authority: Authority) -> None:
        before = self._said.get(key)
        if authority is Authority.STATE and before is not None:
            return  # a kept copy only fills in what is not known
        goes_on = before is not None and before.value == value
        self._said[key] = Said(str(value), event.source, before.since if before and goes_on else event.at)

    def lose(self, source: str) -> None:
        """Forget what a source said."""
        self._said = {key: said for key, said in self._said.items() if said.source != source}

    def use(self, thing: str, at: int, *, out: bool, absent: bool) -> None:
        """Take something out of use, or put it back."""
        if thing in self.out and not out:
            self._in_use_since[thing] = at
        (self.out.add if out else self.out.discard)(thing)
        (self.absent.add if absent else self.absent.discard)(thing)

    def ordered(self, number: int) -> str | None:
        """Return where an accessory was ordered to stand last, if that is known."""
        said = self._said.get(("ordered", number))
        return said.value if said and f"turnout/{number}" not in self.out else None

    def stands(self, number: int) -> str | None:
        """Return where a turnout stands: as it is proved once it ever was, as it was ordered before that."""
        if number not in self._was_proved:
            return self.ordered(number)
        said = self._said.get(("proved", number))
        return said.value if said and f"turnout/{number}" not in self.out else None

    def has_power(self) -> bool:
        """Return whether the power has been on for long enough."""
        said = self._said.get(("power", "main"))
        return said is not None and said.value == "on" and self.now >= said.since + SETTLE

    def is_clear(self, block: str) -> bool:
        """Return whether a block is known to be clear: reported so, and relied upon, for long enough."""
        said, power = self._said.get(("block", block)), self._said.get(("power", "main"))
        if said is None or power is None or said.value != "clear" or not self.has_power():
            return False
        if f"block/{block}" in self.out:
            return False
        in_use = self._in_use_since.get(f"block/{block}", 0)
        return self.now >= max(said.since, power.since + SETTLE, in_use) + CLEAR_AFTER

    def seen(self, signal: str, shows: str) -> str:
        """Return what those who go by a signal on the node `far` take it to show, if it was told to show something."""
        places = {f"signal/{signal}", "node/far"}
        if places & self.absent:
            return "absent"
        if places & self.out or "far" in self.silent:
            return "stop"
        return shows
