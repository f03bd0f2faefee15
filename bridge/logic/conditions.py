"""Whether a condition holds: yes, no, or nobody knows (S. C. Kleene's strong logic of three values, 1952).

A condition remembers nothing. What it rests on are facts; those that have to be remembered (what a press has turned
on, what runs for a while, what time it is) are facts too, made in `moments` and `clock`.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from typing import NamedTuple

from bridge.events import BlockState, ButtonState, Position
from bridge.layout.conditions import (
    MODEL_DAY,
    AccessoryStands,
    AllOf,
    AnyOf,
    BlockEntered,
    BlockIs,
    ButtonHeld,
    ButtonRuns,
    ButtonToggled,
    Condition,
    Hours,
    Leaf,
    LightIsOn,
    Not,
    NumberOrdered,
    SignalShows,
)
from bridge.layout.model import OFF, ON
from bridge.layout.units import clock_text, seconds
from bridge.logic.clock import hours_key
from bridge.logic.known import (
    ABSENT,
    BLOCK,
    BUTTON,
    LIGHT,
    NUMBER,
    ORDERED,
    PROVED,
    SIGNAL,
    YES,
    Fact,
    Key,
    Known,
)
from bridge.logic.moments import moment_key
from bridge.logic.working_out import in_order, showing


class Answer(NamedTuple):
    """What a condition comes to.

    Attributes:
        holds: yes, no, or None where nobody knows.
        words: the facts that decide it, in a sentence that is true whatever the answer.
        causes: numbers of the events that these rest on.
    """

    holds: bool | None
    words: str
    causes: tuple[int, ...]


def offset(name: str, spread: int) -> int:
    """Return by how many seconds a device is late (or early, below 0): always the same, at most half the spread.

    Taken from a digest of its name, so that devices differ, and one is the same in every run.
    """
    digest = int.from_bytes(sha256(name.encode()).digest()[:8], "big")
    half = spread // 2
    return digest % (2 * half + 1) - half


def placed(condition: Condition, name: str) -> Condition:
    """Return a condition as the device of this name asks it: with its own times of the clock."""
    match condition:
        case AllOf(parts):
            return AllOf(tuple(placed(part, name) for part in parts))
        case AnyOf(parts):
            return AnyOf(tuple(placed(part, name) for part in parts))
        case Not(part):
            return Not(placed(part, name))
        case Hours(start, end, spread) if spread:
            late = offset(name, spread)
            return Hours((start + late) % MODEL_DAY, (end + late) % MODEL_DAY)
    return condition


def keys_of(leaf: Leaf) -> tuple[Key, ...]:
    """Return what has to be heard of to know whether this holds."""
    match leaf:
        case AccessoryStands(number, _, proved):
            return ((PROVED if proved else ORDERED, number),)
        case NumberOrdered(accessory):
            return ((NUMBER, accessory),)
        case BlockIs(block):
            return ((BLOCK, block),)
        case BlockEntered(block):
            return ((BLOCK, block), moment_key(leaf))
        case ButtonHeld(button):
            return ((BUTTON, button),)
        case ButtonToggled() | ButtonRuns():
            return (moment_key(leaf),)
        case SignalShows(signal):
            return ((SIGNAL, signal),)
        case LightIsOn(light):
            return ((LIGHT, light),)
        case Hours():
            return (hours_key(leaf),)
    return ()


def ask(condition: Condition, known: Known, *, restores: bool = False) -> Answer:
    """Return whether a condition holds by what is known; `restores` is to believe orders from before a restart."""
    match condition:
        case AllOf(parts):
            return _join([ask(part, known, restores=restores) for part in parts], settles=False)
        case AnyOf(parts):
            return _join([ask(part, known, restores=restores) for part in parts], settles=True)
        case Not(part):
            answer = ask(part, known, restores=restores)
            return answer._replace(holds=None if answer.holds is None else not answer.holds)
        case _:
            return _leaf(condition, known, restores=restores)


def _leaf(leaf: Leaf, known: Known, *, restores: bool) -> Answer:
    match leaf:
        case AccessoryStands() | NumberOrdered():
            return _accessory(leaf, known, restores=restores)
        case BlockIs() | BlockEntered():
            return _block(leaf, known)
        case ButtonHeld() | ButtonToggled() | ButtonRuns():
            return _button(leaf, known)
        case SignalShows(signal, aspects):
            return _signal(signal, aspects, known.get((SIGNAL, signal)))
        case LightIsOn(light):
            fact = known.get((LIGHT, light))
            state = OFF if fact is None else fact.value
            return Answer(state == ON, f"{light} is {state}", _causes(fact))
        case Hours():
            return _hours(leaf, known.get(hours_key(leaf)))
    return Answer(holds=True, words="it is always so", causes=())


def _join(answers: Sequence[Answer], *, settles: bool) -> Answer:
    """Return what several come to of which one alone settles it by this answer; else whoever does not know does."""
    deciding = [each for each in answers if each.holds is settles]
    holds: bool | None = settles
    if not deciding:
        deciding = [each for each in answers if each.holds is None]
        holds = None if deciding else not settles
    deciding = deciding or list(answers)
    words = list(dict.fromkeys(each.words for each in deciding))
    *first, last = words
    causes = in_order(event for each in deciding for event in each.causes)
    return Answer(holds, f"{', '.join(first)}, and {last}" if first else last, causes)


def _causes(*facts: Fact | None) -> tuple[int, ...]:
    return in_order([fact.event for fact in facts if fact is not None])


def _by(fact: Fact) -> str:
    when = " before the restart" if fact.restored else " in a kept copy" if fact.copied else ""
    return f"{when} (by {fact.source})"


def _accessory(leaf: AccessoryStands | NumberOrdered, known: Known, *, restores: bool) -> Answer:
    """Orders from before a restart are for those who want them: to the others they are as if never told."""
    [key] = keys_of(leaf)
    number = int(key[1])
    out = known.out_of_use(number)
    fact = known.get(key) if restores else known.anew(key)
    if out is not None:
        return Answer(None, f"accessory {number} {out.why}", _causes(fact))
    verb = "proved" if key[0] == PROVED else "ordered"
    if fact is None:
        lost = known.lost(key)
        never = f"accessory {number} was not {verb} since the start"
        words = never if lost is None else f"{lost.why}, and accessory {number} was not {verb} since"
        return Answer(None, words, _causes(lost))
    match leaf:
        case NumberOrdered(_, numbers):
            words = f"aspect {fact.value} was ordered of accessory {number}{_by(fact)}"
            return Answer(int(fact.value) in numbers, words, _causes(fact))
        case AccessoryStands(_, position):
            words = f"accessory {number} was {verb} {fact.value}{_by(fact)}"
            unsure = fact.value in (Position.MOVING, Position.UNKNOWN)
            return Answer(None if unsure else fact.value == position, words, _causes(fact))


def _block(leaf: BlockIs | BlockEntered, known: Known) -> Answer:
    block = known.get((BLOCK, leaf.block))
    unsure = block is None or block.value == BlockState.UNKNOWN
    why = f": {block.why}" if block is not None and block.why else ""
    doubt = f"it is not known whether block {leaf.block} is occupied{why}"
    if isinstance(leaf, BlockIs):
        if block is None or unsure:
            return Answer(None, doubt, _causes(block))
        return Answer(block.value == leaf.state, f"block {leaf.block} is {block.value}", _causes(block))
    entered = known.get(moment_key(leaf))
    if entered is not None and entered.value == YES:
        words = f"block {leaf.block} was entered less than {seconds(leaf.time)} ago"
        return Answer(holds=True, words=words, causes=_causes(entered))
    if unsure:
        return Answer(None, doubt, _causes(block))
    if entered is None:
        return Answer(holds=False, words=f"block {leaf.block} was not entered since the start", causes=())
    words = f"block {leaf.block} was not entered within {seconds(leaf.time)}"
    return Answer(holds=False, words=words, causes=_causes(entered))


def _button(leaf: ButtonHeld | ButtonToggled | ButtonRuns, known: Known) -> Answer:
    """A button that was never heard of is taken to be at rest; one whose panel was lost may be held."""
    button, [key] = leaf.button, keys_of(leaf)
    fact = known.get(key)
    if fact is None or fact.copied:  # whoever pressed it when the copy was kept is not pressing it now
        return Answer(holds=False, words=f"button {button} was not pressed since the start", causes=())
    causes = _causes(fact)
    match leaf:
        case ButtonHeld():
            if fact.why:
                return Answer(None, f"it is not known whether button {button} is held: {fact.why}", causes)
            return Answer(
                fact.value == ButtonState.PRESSED, f"button {button} was {fact.value}{_by(fact)}", causes
            )
        case ButtonToggled():
            turned = "on" if fact.value == YES else "off"
            return Answer(fact.value == YES, f"button {button} was pressed to turn it {turned}", causes)
        case ButtonRuns(_, time):
            how = "less than" if fact.value == YES else "more than"
            return Answer(fact.value == YES, f"button {button} was pressed {how} {seconds(time)} ago", causes)


def _signal(signal: str, aspects: tuple[str, ...], fact: Fact | None) -> Answer:
    words = showing(signal, fact)
    if fact is None or fact.why:
        return Answer(None, words, _causes(fact))
    return Answer(fact.value != ABSENT and fact.value in aspects, words, _causes(fact))


def _hours(hours: Hours, fact: Fact | None) -> Answer:
    if fact is None:
        return Answer(None, "nothing was heard of the model clock since the start", ())
    if fact.why:
        words = f"it is not known what time it is on the model clock: {fact.why}"
        return Answer(None, words, _causes(fact))
    inside = fact.value == YES
    between = (hours.start, hours.end) if inside else (hours.end, hours.start)
    words = f"the model clock is between {' and '.join(map(clock_text, between))}"
    return Answer(inside, words, _causes(fact))
