"""From an entry of `messages`, as it stands in the layout file, to what `message.py` goes by; or to its faults.

What is wrong with one key is found where the key is read. Here is what keys say of each other.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from adapters.contract import Fault, Keys
from adapters.cut import cut
from adapters.events.makers import LONGEST_NAME
from adapters.events.mapped.clock import PARTS as CLOCK_PARTS
from adapters.events.mapped.clock import TIMES
from adapters.events.mapped.keys import MessageOptions, Tells
from adapters.events.mapped.kinds import KINDS, Kind, words_of
from adapters.events.mapped.meanings import (
    MOST_BITS,
    NOTHING,
    Meanings,
    Range,
    Written,
    exact_number,
    read_range,
)
from adapters.events.mapped.members import read_pointer
from adapters.events.mapped.patterns import Pattern
from adapters.events.model_clock import rate_quarters
from bridge.events import ACCESSORY_NUMBERS, ASPECT_NUMBERS, Authority, Subject

_BIT: Final = re.compile(r"(0|[1-9][0-9]?)\Z", re.ASCII)
KEY: Final = "key"
"""The part that is the key, or the index, of a member that `each` looks at."""


class Faults(list[Fault]):
    """The faults of one entry, in the order in which they are found."""

    def note(self, keys: Keys, message: str, *, warning: bool = False) -> None:
        """Note one."""
        self.append(Fault(keys, message, warning))


def listed(words: Iterable[object]) -> str:
    """Return `a, b or c`."""
    *first, last = (str(word) for word in words)
    return f"{', '.join(first)} or {last}" if first else last


def parts_of(said: MessageOptions) -> tuple[str, ...]:
    """Return the names of all parts that a message of this entry has, some perhaps twice."""
    own: list[str] = [*said.topic.parts]
    if said.each is not None:
        own += [KEY, *(said.json_ or {})]
        own += [] if "value" in (said.json_ or {}) or said.tells is Tells.CLOCK else ["value"]
    elif said.json_ is not None:
        own += said.json_
    elif said.members is not None:
        own += ["value"]
    elif said.text is not None:
        own += said.text.parts
    elif "value" not in own and said.tells is not Tells.CLOCK:
        own += ["value"]
    elif said.tells is Tells.CLOCK and not any(part in own for part in CLOCK_PARTS):
        own += ["time"]
    return tuple(own)


def look_at(said: MessageOptions) -> Faults:
    """Return everything that is wrong with an entry whose keys are right one by one."""
    faults = Faults()
    kind = KINDS[said.tells]
    _look_at_payload(said, faults)
    _look_at_parts(said, kind, faults)
    _look_at_which(said, kind, faults)
    _meanings(said, kind, faults)
    _look_at_rest(said, kind, faults)
    return faults


def _look_at_payload(said: MessageOptions, faults: Faults) -> None:
    given = [key for key, value in (("text", said.text), ("json", said.json_)) if value is not None]
    kinds = (("each", said.each), ("members", said.members), ("bits", said.bits))
    several = [key for key, value in kinds if value is not None]
    if len(given) > 1:
        faults.note(("json",), "a payload is text or JSON: leave out `text`, or `json`")
    if len(several) > 1:
        faults.note(
            (several[1],), f"`{several[0]}` says already what the facts are: leave out `{several[1]}`"
        )
    if said.text is not None and (said.each is not None or said.members is not None):
        faults.note(("text",), f"`{several[0]}` is about JSON: leave out `text`")
    if said.json_ is not None and said.members is not None:
        faults.note(("json",), "`members` says already where the values stand: leave out `json`")
    if said.written is Written.BYTES and (given or said.each is not None or said.members is not None):
        faults.note(("written",), "of bytes there is neither text nor JSON: leave that out, or `written`")
    elif said.written is Written.BYTES and "value" in said.topic.parts:
        faults.note(
            ("written",), "the value stands in the topic: leave out `written`, or call that part otherwise"
        )
    if said.written is not Written.DECIMAL and said.tells is Tells.CLOCK:
        faults.note(("written",), "a clock is told in plain digits: leave out `written`")


def _look_at_parts(said: MessageOptions, kind: Kind, faults: Faults) -> None:
    parts = parts_of(said)
    for part in dict.fromkeys(parts):
        if parts.count(part) > 1:
            faults.note(
                ("topic",),
                f"the part {part!r} stands in the topic and in the payload: give one of them another name",
            )
    if said.tells is Tells.CLOCK:
        times = [part for part in TIMES if part in parts]
        if len(times) > 1:
            faults.note(("tells",), f"one time is enough: leave out the part {times[1]}")
        elif not {*CLOCK_PARTS} & {*parts}:
            faults.note(
                ("tells",),
                f"a clock needs a part called {listed(CLOCK_PARTS)}, in the topic, `text` or `json`",
            )
        return
    if "value" not in parts:
        faults.note(
            ("tells",),
            f"no part is called {{value}}, so nothing says what {kind.what} does: name one in `text` or `json`",
        )


def _look_at_which(said: MessageOptions, kind: Kind, faults: Faults) -> None:
    if said.tells is Tells.CLOCK:
        ones = {"number": said.number, "name": said.name, "members": said.members, "bits": said.bits}
        for key, value in {**ones, "each": said.each, "called": said.called or None}.items():
            if value is not None:
                faults.note((key,), f"there is one clock: leave out `{key}`")
        return
    used, other = ("number", "name") if kind.numbered else ("name", "number")
    if getattr(said, other) is not None:
        faults.note((other,), f"{kind.what} has a {used}: write `{used}` for it")
    if said.number is not None and kind.numbered:
        _look_at_ours(kind, ("number",), said.number, faults)
    if said.name is not None:
        _look_at_name(said.name, parts_of(said), faults)
    if said.bits is not None or said.members is not None:
        _look_at_fixed(said, kind, used, faults)
    elif getattr(said, used) is None and getattr(said, other) is None and not {used, KEY} & {*parts_of(said)}:
        faults.note(
            ("topic",),
            f"nothing says which one it is: write {{{used}}} where it stands in the topic, or name it by `{used}`,"
            " `text` or `json`",
        )
    for told, ours in said.called.items():
        _look_at_ours(kind, ("called", told), ours, faults)


def _look_at_name(name: Pattern, parts: tuple[str, ...], faults: Faults) -> None:
    for part in name.parts:
        if part not in parts:
            faults.note(("name",), f"no part of this message is called {{{part}}}; {_there_are(parts)}")
    if not name.parts and not _is_name(name.letters[0]):
        faults.note(
            ("name",), f"{cut(name.letters[0], 30)!r} is no name: write 1 to {LONGEST_NAME} letters or digits"
        )


def _look_at_fixed(said: MessageOptions, kind: Kind, used: str, faults: Faults) -> None:
    """Look at `bits` or `members`, which say which ones the facts are about."""
    key, fixed = ("members", said.members or {}) if said.bits is None else ("bits", said.bits)
    for also in (used, "called"):
        if getattr(said, also):
            faults.note((also,), f"`{key}` says already which ones they are: leave out `{also}`")
    for told, ours in fixed.items():
        if key == "members":
            _look_at_pointer(told, faults)
        elif not (_BIT.match(told) and int(told) < MOST_BITS):
            faults.note(
                (key, told),
                f"{cut(told, 20)!r} is no bit: they count from 0, the lowest, to {MOST_BITS - 1}",
            )
        _look_at_ours(kind, (key, told), ours, faults)
    if key == "bits" and said.means is None and said.tells is not Tells.ASPECT:
        words = [*kind.words][:2]
        faults.note(
            ("bits",),
            f"nothing says what a bit means: add `means: {{1: {words[0]}, 0: {words[1]}}}`, or the other way round",
        )
    commands = said.tells in (Tells.ORDERED, Tells.ASPECT)
    if commands and said.authority is None:
        faults.note(
            (key,),
            "each message would order all of these again, and so none of them is the last order: add `authority: state`"
            " if they only say how it stands, or `authority: command` if each is meant",
        )


def _look_at_pointer(told: str, faults: Faults) -> None:
    try:
        read_pointer(told)
    except ValueError as problem:
        faults.note(("members", told), str(problem))


def _look_at_ours(kind: Kind, keys: Keys, ours: Any, faults: Faults) -> None:
    if kind.numbered and _number(ours) is None:
        faults.note(keys, f"{cut(str(ours), 30)} is no accessory number: write 1 to 2048")
    elif not kind.numbered and not _is_name(ours):
        faults.note(keys, f"{cut(str(ours), 30)!r} is no name: write 1 to {LONGEST_NAME} letters or digits")


def _number(value: Any) -> int | None:
    return value if type(value) is int and value in ACCESSORY_NUMBERS else None


def _is_name(value: Any) -> bool:
    text = str(value) if type(value) in (int, str) else ""
    return bool(text.strip()) and len(text) <= LONGEST_NAME and text.isprintable()


def _there_are(parts: tuple[str, ...]) -> str:
    return f"it has {', '.join(f'{{{part}}}' for part in parts)}" if parts else "it has none"


def meanings(said: MessageOptions) -> Meanings:
    """Return what the values of an entry without faults mean."""
    return _meanings(said, KINDS[said.tells], Faults())


def _meanings(said: MessageOptions, kind: Kind, faults: Faults) -> Meanings:
    words: dict[str, Any] = {}
    numbers: dict[Decimal, Any] = {}
    ranges: list[Range] = []
    for key, told in (said.means or {}).items():
        keys: Keys = ("means", key)
        word = _meant(kind, said, told, keys, faults)
        number = exact_number(key)
        if number is not None and number in numbers:
            faults.note(keys, f"the number {key} has a meaning already: keep one of the two")
        elif number is not None:
            numbers[number] = word
        elif (found := _range(key, word, ranges, faults)) is not None:
            ranges.append(found)
        else:
            words[key] = word
    if said.means is None and said.bits is None:
        words, numbers = _usual(said.tells, kind)
    otherwise = None
    if said.otherwise is not None:
        otherwise = _meant(kind, said, said.otherwise, ("otherwise",), faults)
    own = [*words, *(f"{number:f}" for number in numbers), *(each.key for each in ranges)]
    plain = said.tells is Tells.ASPECT and said.means is None
    expected = "an aspect number from 0 to 255" if plain else listed(f"`{each}`" for each in own or [NOTHING])
    return Meanings(words, numbers, tuple(ranges), otherwise, expected)


def _usual(tells: Tells, kind: Kind) -> tuple[dict[str, Any], dict[Decimal, Any]]:
    """Return what values mean where the file does not say: what the words of the layout's own facts do."""
    more = {"true": True, "false": False} if tells is Tells.CLOCK else {}
    numbers = {Decimal(number): number for number in ASPECT_NUMBERS} if tells is Tells.ASPECT else {}
    return {**kind.words, **more}, numbers


def _range(key: str, word: Any, ranges: list[Range], faults: Faults) -> Range | None:
    """Read the key of a range, and note what is wrong with it."""
    try:
        found = read_range(key, word)
    except ValueError as problem:
        faults.note(("means", key), str(problem))
        return None
    meets = None if found is None else next((each for each in ranges if each.meets(found)), None)
    if meets is not None:
        faults.note(
            ("means", key),
            f"a number could be in {meets.key!r} and in {key!r}: let one begin behind the other",
        )
    return found


def _meant(kind: Kind, said: MessageOptions, told: Any, keys: Keys, faults: Faults) -> Any:
    if told == NOTHING:
        return NOTHING
    if said.tells is Tells.ASPECT:
        if type(told) is int and told in ASPECT_NUMBERS:
            return told
    elif isinstance(told, str) and told in kind.words:
        return kind.words[told]
    shown = "an empty value" if told is None else repr(told) if isinstance(told, str) else str(told).lower()
    faults.note(keys, f"{cut(shown, 30)} cannot be said of {kind.what}: write {listed(words_of(kind))}")
    return NOTHING


def authority(said: MessageOptions) -> Authority:
    """Return the authority of a message of an entry without faults that is no kept copy."""
    return KINDS[said.tells].live if said.authority is None else Authority(said.authority)


def _look_at_rest(said: MessageOptions, kind: Kind, faults: Faults) -> None:
    allowed = [kind.live.value, *([Authority.STATE.value] if kind.lesser else [])]
    if said.authority is not None and said.authority not in allowed:
        remedy = listed(allowed)
        if said.tells in (Tells.ORDERED, Tells.PROVED) and said.authority in ("command", "feedback"):
            remedy += f", or `tells: {'proved' if said.tells is Tells.ORDERED else 'ordered'}`"
        faults.note(
            ("authority",),
            f"{cut(str(said.authority), 30)!r} does not fit `tells: {said.tells}`: write {remedy}",
        )
    if said.invert is not False and not kind.turned:
        faults.note(("invert",), f"of {kind.what} nothing has an opposite: leave out `invert`")
    if said.offset and not kind.numbered:
        faults.note(("offset",), f"{kind.what} has no number: leave out `offset`")
    if (said.of is not None) != (said.tells is Tells.USE):
        kinds = listed(each.value for each in Subject)
        if said.of is None:
            faults.note(("tells",), f"nothing says what is taken out of use: add `of`, with {kinds}")
        else:
            faults.note(("of",), "only `tells: use` takes something out of use: leave out `of`")
    elif said.of is not None and said.of not in tuple(Subject):
        faults.note(
            ("of",), f"{cut(str(said.of), 30)!r} does not fit: write {listed(each.value for each in Subject)}"
        )
    if said.rate is not None and (said.tells is not Tells.CLOCK or "rate" in parts_of(said)):
        faults.note(
            ("rate",), "only a clock of which no message says the rate is given one: leave out `rate`"
        )
    elif said.rate is not None and rate_quarters(said.rate) is None:
        faults.note(
            ("rate",), f"{cut(str(said.rate), 20)} is no rate: write 0.25 to 511.75 in steps of a quarter"
        )
