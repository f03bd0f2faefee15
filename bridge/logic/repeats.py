"""Orders that a source sends again by itself, told apart from orders that somebody gives again."""

from __future__ import annotations

from bridge.events import (
    AccessoryOrdered,
    Authority,
    Event,
    Instant,
    LinkState,
    Position,
    SourceReported,
    Subject,
    UseReported,
)
from bridge.layout.ends import Source


class Repeats:
    """Knows what each source said last of each accessory.

    An order is a repeat if its source said the very same of that accessory within the source's repeat
    window before. Each repeat opens the window anew: a source that goes on repeating goes on being quiet.
    What a source said before it was lost or taken out of use is forgotten: after that, the same order is given again.
    """

    def __init__(self, sources: tuple[Source, ...]) -> None:
        self._windows = {source.name: source.repeat_window for source in sources if source.repeat_window}
        self._said: dict[tuple[str, int], tuple[Position, Instant]] = {}

    def is_repeat(self, event: Event) -> bool:
        """Take an event and say whether it is a repeat; kept copies never are, and open no window."""
        if not isinstance(event, AccessoryOrdered):
            if isinstance(event, SourceReported) and event.state is LinkState.LOST:
                self._forget(event.source)
            elif isinstance(event, UseReported) and event.subject is Subject.SOURCE:
                self._forget(event.name)
            return False
        window = self._windows.get(event.source)
        if window is None or event.authority is not Authority.COMMAND:
            return False
        key = (event.source, event.number)
        before = self._said.get(key)
        self._said[key] = (event.position, event.at)
        return before is not None and before[0] is event.position and event.at - before[1] <= window

    def _forget(self, source: str) -> None:
        self._said = {key: said for key, said in self._said.items() if key[0] != source}

    def snapshot(self) -> list[list[str | int]]:
        """Return what is known, as plain data."""
        return [
            [source, number, position.value, at] for (source, number), (position, at) in self._said.items()
        ]

    def restore(self, data: list[list[str | int]]) -> None:
        """Take back what `snapshot` gave."""
        self._said = {
            (str(source), int(number)): (Position(str(position)), int(at))
            for source, number, position, at in data
        }
