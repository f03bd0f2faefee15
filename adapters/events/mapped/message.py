"""One entry of `messages`, made ready: from the parts of a topic and a payload to facts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, Final

from adapters.cut import cut
from adapters.events.makers import LONGEST_NAME
from adapters.events.mapped.clock import PARTS as CLOCK_PARTS
from adapters.events.mapped.clock import told_of_clock
from adapters.events.mapped.keys import Kept, MessageOptions, Tells
from adapters.events.mapped.kinds import KINDS
from adapters.events.mapped.meanings import (
    MOST_BITS,
    NOTHING,
    Value,
    Written,
    as_written,
    bytes_as_number,
    text_of,
    whole_of,
)
from adapters.events.mapped.members import LONGEST_JSON, LONGEST_TEXT, MISSING, look, read_json, read_pointer
from adapters.events.mapped.patterns import Pattern, Topic
from adapters.events.mapped.reading import KEY, authority, meanings
from bridge.errors import DecodeError
from bridge.events import ACCESSORY_NUMBERS, Authority, ClockReported, Event, Instant, Subject

MOST_FACTS: Final = 512
"""Facts that one message may tell at the most."""

_NUMBERS: Final = range(2**32)
_MASKS: Final = range(2**MOST_BITS)

Parts = Mapping[str, Value]


class Message:
    """What messages of one convention mean.

    Attributes:
        topic: those that it is about.
        qos: the quality of service with which they are asked for.
        longest: bytes of a payload; a longer one is refused, where the payload counts at all.
        expected: the payloads that are understood, for a person.
    """

    def __init__(self, said: MessageOptions) -> None:
        """Make one of an entry in which `look_at` found no fault."""
        self.topic: Topic = said.topic
        self.qos = said.qos
        self._said = said
        self._kind = KINDS[said.tells]
        self._meanings = meanings(said)
        self._live = authority(said)
        self._subject = None if said.of is None else Subject(said.of)
        self._places = [(part, pointer, _shown(pointer)) for part, pointer in (said.json_ or {}).items()]
        self._members = [(read_pointer(told), told, ours) for told, ours in (said.members or {}).items()]
        self._bits = [(int(told), ours) for told, ours in (said.bits or {}).items()]
        self._json = bool(self._members) or said.json_ is not None or said.each is not None
        self.longest = LONGEST_JSON if self._json else LONGEST_TEXT
        told = CLOCK_PARTS if said.tells is Tells.CLOCK else ("value",)
        in_topic = any(part in self.topic.parts for part in told)
        self._text = said.text or (None if in_topic else Pattern(("", ""), told[:1]))
        self._all_turned = said.invert is True
        self._turned = frozenset(said.invert if isinstance(said.invert, tuple) else ())
        self.expected = self._expected()

    @property
    def looked_for(self) -> str:
        """The members of a payload that it is about, for a person."""
        each = [] if self._said.each is None else [_shown(self._said.each)]
        return ", ".join(
            each
            or [shown for _part, _pointer, shown in self._places]
            or [told for _p, told, _o in self._members]
        )

    def events(
        self, parts: Parts, payload: bytes, at: Instant, source: str, *, retained: bool
    ) -> tuple[Event, ...] | None:
        """Return the facts of a message; none where it tells nothing, None where it is about other members.

        Args:
            parts: what stands in the parts of its topic.
            payload: its payload.
            at: when it came.
            source: who tells it.
            retained: it is a kept copy.

        Raises:
            DecodeError: it means nothing here.
        """
        if retained and self._said.kept is Kept.IGNORE:
            return ()
        told_by = Authority.STATE if retained else self._live
        found = self._found(parts, payload)
        if found is None:
            return None
        events = [
            event
            for one in found
            for inside in (self._bit_by_bit(one) if self._bits else (one,))
            if (event := self._event(inside, at, source, told_by)) is not None
        ]
        if len(events) > MOST_FACTS:
            raise DecodeError(f"one message tells {len(events)} facts, and {MOST_FACTS} is the most")
        return tuple(events)

    # ---- the payload ---------------------------------------------------------------------------------------

    def _found(self, parts: Parts, payload: bytes) -> list[Parts] | None:
        """Return the parts of each thing that a message is about, or None where it has none of the members."""
        if self._said.written is Written.BYTES:
            return [{**parts, "value": bytes_as_number(payload)}]
        if not self._json:
            return [parts if self._text is None else {**parts, **self._in_text(payload, self._text)}]
        content = read_json(payload)
        if self._said.each is not None:
            within = look(content, self._said.each)
            return None if within is MISSING else [{**parts, **inside} for inside in self._in_each(within)]
        if self._members:
            there = [(look(content, pointer), told, ours) for pointer, told, ours in self._members]
            return [
                {**parts, "value": _scalar(value, told), _OURS: ours}
                for value, told, ours in there
                if value is not MISSING
            ] or None
        found = self._at_places(content)
        return None if found is None else [{**parts, **found}]

    def _in_text(self, payload: bytes, form: Pattern) -> Mapping[str, str]:
        if len(payload) > LONGEST_TEXT:
            raise DecodeError(f"the payload is longer than {LONGEST_TEXT} bytes", expected=self.expected)
        try:
            text = payload.decode("utf-8").strip()
        except UnicodeDecodeError:
            raise DecodeError("the payload is not UTF-8 text", expected=self.expected) from None
        if not text:
            if self._said.text is None and "" in self._meanings.words:
                return {"value": ""}
            # Deleting a kept copy looks just like this, and is no fact either.
            raise DecodeError("the payload is empty, which says nothing", expected=self.expected)
        found = form.find(text)
        if found is None:
            raise DecodeError(f"`{cut(text, 30)}` has another form than `text` says", expected=self.expected)
        return found

    def _in_each(self, within: Any) -> Iterator[Parts]:
        if isinstance(within, list):
            items: list[tuple[str, Any]] = [(str(index), item) for index, item in enumerate(within)]
        elif isinstance(within, dict):
            items = list(within.items())
        else:
            raise DecodeError(f"`each` needs an object or a list, and `{cut(text_of(within), 30)}` is none")
        whole = "value" not in (self._said.json_ or {})
        for key, item in items:
            found = self._at_places(item)
            if found is None:
                missing = (shown for _part, pointer, shown in self._places if look(item, pointer) is MISSING)
                raise DecodeError(f"{cut(key, 30)!r} has no member {next(missing)}", expected=self.expected)
            yield {KEY: key, **found, **({"value": _scalar(item, key)} if whole else {})}

    def _at_places(self, content: Any) -> Parts | None:
        found: dict[str, Value] = {}
        for part, pointer, shown in self._places:
            value = look(content, pointer)
            if value is MISSING:
                return None
            found[part] = _scalar(value, shown)
        return found

    def _bit_by_bit(self, parts: Parts) -> Iterator[Parts]:
        mask = whole_of(as_written(parts["value"], self._said.written), _MASKS)
        if mask is None:
            shown = cut(text_of(parts["value"]), 30)
            raise DecodeError(
                f"`{shown}` is no whole number with bits", expected="0 to 64 bits, as one number"
            )
        for bit, ours in self._bits:
            yield {**parts, "value": Decimal(mask >> bit & 1), _OURS: ours}

    # ---- what it means -------------------------------------------------------------------------------------

    def _event(self, parts: Parts, at: Instant, source: str, told_by: Authority) -> Event | None:
        if self._said.tells is Tells.CLOCK:
            return self._clock(parts, at, source, told_by)
        value = parts["value"] if self._bits else as_written(parts["value"], self._said.written)
        word = self._meanings.look(value)
        if word == NOTHING:
            return None
        which = self._which(parts)
        if self._all_turned or (self._turned and str(which) in self._turned):
            word = self._kind.turned.get(word, word)
        return self._kind.make(
            which if self._subject is None else (self._subject, which), word, at, source, told_by
        )

    def _which(self, parts: Parts) -> int | str:
        """Return the number or the name of what it is about."""
        ours = parts.get(_OURS)
        said = self._said
        if ours is not None:
            return ours if self._kind.numbered else str(ours)  # type: ignore[return-value]  # by the kind
        if self._kind.numbered:
            if said.number is not None:
                return int(said.number)
            told = parts["number"] if "number" in parts else parts[KEY]
            mine = said.called.get(text_of(told))
            return self._number(told) if mine is None else int(mine)
        if said.name is not None:
            name = said.name.fill({part: text_of(parts[part]) for part in said.name.parts})
        else:
            name = text_of(parts["name"] if "name" in parts else parts[KEY])
        name = str(said.called.get(name, name))
        if not (name.strip() and len(name) <= LONGEST_NAME and name.isprintable()):
            raise DecodeError(f"{cut(name, 30)!r} is no name: it has 1 to {LONGEST_NAME} letters or digits")
        return name

    def _number(self, told: Value) -> int:
        number = whole_of(told, _NUMBERS)
        offset = self._said.offset
        if number is None or (isinstance(told, str) and not (told.isascii() and told.isdigit())):
            raise DecodeError(
                f"`{cut(text_of(told), 30)}` is not the number of {self._kind.what}",
                expected="a number in plain digits",
            )
        if number + offset not in ACCESSORY_NUMBERS:
            first, last = ACCESSORY_NUMBERS[0], ACCESSORY_NUMBERS[-1]
            added = f" ({number} and the offset {offset})" if offset else ""
            raise DecodeError(
                f"there is no accessory {number + offset}{added}",
                expected=f"numbers from {max(first - offset, 0)} to {last - offset}",
            )
        return number + offset

    def _clock(self, parts: Parts, at: Instant, source: str, told_by: Authority) -> Event | None:
        running = self._meanings.look(parts["value"]) if "value" in parts else None
        if running == NOTHING:
            return None
        told = told_of_clock(parts, running, self._said.rate)
        return ClockReported(at=at, source=source, **told._asdict(), authority=told_by)

    def _expected(self) -> str:
        if self._said.text is not None:
            first, *rest = self._said.text.letters
            named = zip(self._said.text.parts, rest, strict=True)
            shown = first + "".join(f"{{{part}}}{letters}" for part, letters in named)
            return f"`{shown}`, where the value is {self._meanings.expected}"
        return self._meanings.expected


_OURS: Final = " ours"
"""Where, among the parts, the number or name stands that the file gives a member or a bit; no part is called so."""


def _shown(pointer: tuple[str, ...]) -> str:
    return (
        "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in pointer) or "the whole payload"
    )


def _scalar(value: Any, where: str) -> Value:
    if isinstance(value, dict | list):
        what = "an object" if isinstance(value, dict) else "a list"
        raise DecodeError(f"{cut(where, 40)} is {what}, and no value")
    found: Value = value.strip() if isinstance(value, str) else value
    return found
