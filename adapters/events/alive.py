"""How a source says that it is there, or that it is gone: in words, by its last will, by a heartbeat."""

from __future__ import annotations

from adapters.contract import Fault
from adapters.cut import cut
from adapters.events.mapped.keys import AliveOptions
from adapters.events.mapped.meanings import exact_number, number_of, text_of
from adapters.events.mapped.members import LONGEST_TEXT, MISSING, look, read_json
from bridge.errors import DecodeError
from bridge.events import LinkState


class Alive:
    """What the messages on the topic of a source's own say of it."""

    def __init__(self, said: AliveOptions) -> None:
        """Make one of options without faults."""
        self.topic = said.topic.filter
        self.qos = said.qos
        self.heartbeat = said.heartbeat
        self._place = said.json_
        self._here = None if said.here is None else _as_said(said.here)
        self._gone = None if said.gone is None else _as_said(said.gone)

    def read(self, payload: bytes) -> LinkState:
        """Return what a message says of the source.

        Raises:
            DecodeError: neither that it is here nor that it is gone.
        """
        said = self._said(payload)
        if self._gone is not None and _same(said, self._gone):
            return LinkState.LOST
        if self._here is None or _same(said, self._here):
            return LinkState.UP
        words = [f"`{each}`" for each in (self._here, self._gone) if each is not None]
        raise DecodeError(
            f"`{cut(said, 30)}` says neither that the source is here nor that it is gone",
            expected=" or ".join(words),
        )

    def _said(self, payload: bytes) -> str:
        if self._place is not None:
            value = look(read_json(payload), self._place)
            if value is MISSING or isinstance(value, dict | list):
                raise DecodeError("the member that says whether the source is here is missing, or no value")
            return text_of(value).strip()
        if len(payload) > LONGEST_TEXT:
            raise DecodeError(f"the payload is longer than {LONGEST_TEXT} bytes")
        try:
            said = payload.decode("utf-8").strip()
        except UnicodeDecodeError:
            raise DecodeError("the payload is not UTF-8 text") from None
        if not said:  # deleting a kept copy looks just like this
            raise DecodeError("the payload is empty, which says nothing")
        return said


def look_at_alive(said: AliveOptions) -> tuple[Fault, ...]:
    """Return what is wrong with options whose keys are right one by one."""
    faults = []
    if said.topic.parts or "+" in said.topic.filter or "#" in said.topic.filter:
        faults.append(
            Fault(("alive", "topic"), "a source is alive on one topic: write it out, without parts")
        )
    if said.gone is None and said.heartbeat is None:
        faults.append(
            Fault(
                ("alive",),
                "nothing says when the source is lost: add `gone`, the words of its last will, or `heartbeat`",
            )
        )
    words = {key: value for key, value in (("here", said.here), ("gone", said.gone)) if value is not None}
    for key, value in words.items():
        if isinstance(value, dict | list) or not _as_said(value):
            faults.append(
                Fault(("alive", key), f"{cut(str(value), 30)!r} is no text: write what the payload is")
            )
    if len(words) > 1 and _same(*map(_as_said, words.values())):
        faults.append(
            Fault(("alive", "gone"), "`here` and `gone` are the same: nobody could tell them apart")
        )
    return tuple(faults)


def _as_said(value: object) -> str:
    """Return a value of the file as the text that a message has, in which nothing around it counts."""
    return str(value).lower() if isinstance(value, bool) else str(value).strip()


def _same(said: str, wanted: str) -> bool:
    """Return whether what was said is the word that stands in the file, or the same number."""
    number = exact_number(wanted)
    return said == wanted or (number is not None and number_of(said) == number)
