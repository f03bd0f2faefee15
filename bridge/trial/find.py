"""The wiring finder: lights a few bytes of one chain at a time, is told what was seen, and works out how it is wired.

    finder = Finder(chain)
    while (question := finder.question) is not None:
        ...                                  # send question.picture, and show question.expected to the owner
        finder.answer(Seen(frozenset(lit)))  # or finder.answer(None): could not say
    finder.outcome()

Nothing counts as found because it is likely. Each chip is asked for until one explanation of its lights is left,
and what differs from the file on one chip alone is seen once more by its last byte. What is likely decides only
what is asked first. Owners err: when nothing fits any more what was said of a chip, the answer that stands alone
against the others is asked again, and only if it is confirmed is the chip looked at for something broken.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np

from bridge.chain.frames import FULL_BYTE
from bridge.errors import EngineError
from bridge.layout.model import Chain
from bridge.trial.find_edits import Outcome
from bridge.trial.find_places import Guess, Knowledge, Seen, State
from bridge.trial.find_questions import choose, rest_bits
from bridge.trial.find_result import conclude
from bridge.trial.find_sights import NOWHERE, Masks, Sight, Sights

AT_ONCE: Final = 6
"""How many bytes a picture lights: about what an owner takes in with one look, and at most 120 mA where each is one LED
of 20 mA."""

MOST_AT_ONCE: Final = 8

_PATIENCE: Final = 2
"""So many answers in a row that tell nothing of a chip, and it is left alone."""

_ENOUGH: Final = 3
"""So many chips with the same difference bear each other out."""


@dataclass(frozen=True, slots=True)
class Question:
    """A picture and what should be seen of it.

    Attributes:
        number: counted from 1; a question that is asked again keeps its number.
        picture: the bytes of the whole chain and of the spare chips behind it.
        lit: the bytes that are lit on purpose, counted from 0.
        expected: the numbers of the sights that will be lit if what is most likely now is true.
        again: why it is asked again, in a sentence; empty where it is asked for the first time.
    """

    number: int
    picture: bytes
    lit: tuple[int, ...]
    expected: tuple[int, ...]
    again: str = ""


@dataclass(slots=True)
class _Asked:
    """One picture that was shown, and what was seen of it; None if the owner could not say."""

    bits: Masks
    lit: tuple[int, ...]
    expected: tuple[int, ...]
    seen: Seen | None
    times: int = 1


@dataclass(frozen=True, slots=True)
class _Before:
    """What an undo goes back to."""

    asked: tuple[tuple[Seen | None, int], ...]
    broken: frozenset[int]
    unclear: frozenset[int]


class Finder:
    """Finds out how one chain is wired.

    Attributes:
        sights: all that can be seen of the chain, by number.
        question: what is asked now; None when there is nothing more to ask.
    """

    def __init__(
        self,
        chain: Chain,
        *,
        coloured: bool = True,
        at_once: int = AT_ONCE,
        elsewhere: Collection[str] = (),
    ) -> None:
        """Begin with what the file says.

        Args:
            chain: as the layout file has it.
            coloured: whether the owner tells colours from each other. If not, only places and on or off are asked.
            at_once: how many bytes a picture may light, 1 to `MOST_AT_ONCE`.
            elsewhere: builds that other chains use too, so that no edit changes them for this one.

        Raises:
            EngineError: `at_once` is out of range, or the chain is empty.
        """
        if not 1 <= at_once <= MOST_AT_ONCE or not chain.chips:
            raise EngineError(
                f"a finder lights 1 to {MOST_AT_ONCE} bytes at a time, of a chain that has chips"
            )
        self.sights = Sights(chain, coloured=coloured)
        self._at_once = at_once
        self._elsewhere = frozenset(elsewhere)
        self._asked: list[_Asked] = []
        self._past: list[_Before] = []
        self._broken: frozenset[int] = frozenset()
        self._unclear: frozenset[int] = frozenset()
        self._knowledge = Knowledge(self.sights)
        self._again: int | None = None
        self.question: Question | None = None
        self._go_on()

    @property
    def answers(self) -> int:
        """How many answers were given, those to questions asked again among them."""
        return len(self._past)

    @property
    def left(self) -> int:
        """About how many questions are left."""
        if self.question is None:
            return 0
        needed = 0
        for member in self._open():
            guess = self._knowledge.guesses[member]
            if guess is not None:
                lit = self._lit_of(member, guess)
                needed += max(1, self.sights.places[member].pattern.bytes - 1 - lit)
        needed += len(self._unconfirmed())
        return max(1, -(-needed // self._at_once))

    def sight(self, number: int) -> Sight:
        """Return a sight by its number."""
        return self.sights.all[number]

    def answer(self, seen: Seen | None) -> None:
        """Take what was seen of the present question, or None where the owner could not say.

        Raises:
            EngineError: nothing is asked, or a sight is named that the chain does not have.
        """
        question = self.question
        if question is None:
            raise EngineError("an answer came, and nothing is asked")
        known = range(len(self.sights.all))
        if seen is not None and not all(number in known for number in seen.lit | seen.unsure):
            raise EngineError("an answer names a sight that this chain does not have")
        before = tuple((each.seen, each.times) for each in self._asked)
        self._past.append(_Before(before, self._broken, self._unclear))
        if self._again is None:
            bits = np.array([byte // FULL_BYTE for byte in question.picture], dtype=np.int64)
            self._asked.append(_Asked(bits, question.lit, question.expected, seen))
            if seen is not None:
                self._knowledge.narrow(bits, seen)
        else:
            asked = self._asked[self._again]
            changed = asked.seen != seen
            asked.seen, asked.times = seen, asked.times + 1
            if changed:
                self._rebuild()
        self._go_on()

    def undo(self) -> bool:
        """Take the last answer back; return False if there is none."""
        if not self._past:
            return False
        before = self._past.pop()
        self._broken, self._unclear = before.broken, before.unclear
        del self._asked[len(before.asked) :]
        for asked, (seen, times) in zip(self._asked, before.asked, strict=True):
            asked.seen, asked.times = seen, times
        self._rebuild()
        self._go_on()
        return True

    def outcome(self) -> Outcome:
        """Return what was found, at any time: what is still open is said."""
        return conclude(
            self._knowledge,
            unclear=self._unclear,
            tail=self._tail(),
            elsewhere=self._elsewhere,
            looked_at={byte for asked in self._asked if asked.seen is not None for byte in asked.lit},
            others=[asked.lit for asked in self._asked if asked.seen is not None and asked.seen.other],
        )

    # How it goes on.

    def _rebuild(self) -> None:
        self._knowledge = Knowledge(self.sights, self._broken)
        for asked in self._asked:
            if asked.seen is not None:
                self._knowledge.narrow(asked.bits, asked.seen)

    def _go_on(self) -> None:
        """Find the next question, or none."""
        self._again, self.question = None, None
        while contradicted := [each for each in self._knowledge.nothing_fits() if each not in self._unclear]:
            member = contradicted[0]
            suspect = self._suspect(member)
            if suspect is not None:
                self._knowledge.reckon(())
                self._ask_again(suspect, member)
                return
            if member in self._broken:
                self._unclear |= {member}
            else:
                self._broken |= {member}
                self._rebuild()
        self._knowledge.reckon(())
        if dark := self._in_the_dark():
            self._knowledge.reckon(dark)
        open_ones = self._open()
        past = [asked.bits for asked in self._asked]
        lit = choose(self._knowledge, open_ones, past, self._at_once) if open_ones else []
        if sum(asked.lit == tuple(lit) for asked in self._asked) > _PATIENCE:
            lit = []  # the same picture told nothing, time and again
        if not lit:
            lit = self._unconfirmed()[: self._at_once]
        if not lit:
            self._look_again()
        if not lit and self.question is None:
            lit = self._behind_the_end(0)
        if lit:
            self._ask(sorted({*lit, *self._behind_the_end(len(lit))}))

    def _ask(self, lit: list[int]) -> None:
        bits = rest_bits(self._knowledge)
        bits[lit] ^= 1
        picture = bytes(int(bit) * FULL_BYTE for bit in bits)
        self.question = Question(len(self._asked) + 1, picture, tuple(lit), self._expected(bits))

    def _ask_again(self, index: int, member: int, *, at_odds: bool = True) -> None:
        asked = self._asked[index]
        name = self.sights.places[member].name
        against = ", ".join(str(each + 1) for each in self._about(member) if each != index)
        why = f"what you saw then of {name} cannot be true together with your answers to {against}"
        if not at_odds:
            why = f"what you saw then of {name} is all that speaks for something odd"
        elif not against:
            why = f"what you saw then of {name} cannot be"
        picture = bytes(int(bit) * FULL_BYTE for bit in asked.bits)
        self._again = index
        self.question = Question(index + 1, picture, asked.lit, asked.expected, why)

    def _expected(self, bits: Masks) -> tuple[int, ...]:
        """Return what is seen of a picture if what is most likely is true."""
        found: dict[int, None] = {}
        claimed: dict[int, int] = {}
        guesses = sorted(
            ((member, guess) for member, guess in enumerate(self._knowledge.guesses) if guess is not None),
            key=lambda each: (each[1].others > 0, -each[1].weight),
        )
        for member, guess in guesses:
            pattern, place = self._knowledge.pattern(member), self.sights.places[member]
            lit = pattern.without_data if guess.state is State.WITHOUT_DATA else 0
            if guess.state is State.LIGHTS:
                if guess.others and guess.offset in claimed:
                    continue  # where another chip is more likely
                claimed[guess.offset] = member
                window = [int(bit) for bit in bits[guess.offset : guess.offset + pattern.window]]
                lit = int(pattern.table[guess.soldering, sum(bit << byte for byte, bit in enumerate(window))])
            found |= {number: None for local, number in enumerate(place.sights) if lit >> local & 1}
        return tuple(sorted(found))

    def _lit_of(self, member: int, guess: Guess) -> int:
        """Return how many bytes of a chip, where it most likely is, have been lit so far."""
        if guess.offset == NOWHERE:
            return self.sights.places[member].pattern.bytes
        own = range(guess.offset, guess.offset + self.sights.places[member].pattern.bytes)
        return sum(any(byte in asked.lit for asked in self._asked if asked.seen is not None) for byte in own)

    def _open(self) -> list[int]:
        """Return the chips of which more than one thing is possible, and that are worth another question."""
        tail = self._tail()
        return [
            member
            for member, guess in enumerate(self._knowledge.guesses)
            if guess is not None
            and guess.others
            and member not in tail
            and member not in self._unclear
            and not self._told_nothing(member)
        ]

    def _told_nothing(self, member: int) -> bool:
        """Return whether the owner could not say what became of a chip, time and again."""
        place, guess = self.sights.places[member], self._knowledge.guesses[member]
        own = set(place.sights)
        where = range(0) if guess is None else range(guess.likely, guess.likely + place.pattern.bytes)
        about = [
            asked
            for asked in self._asked
            if not (own.isdisjoint(asked.expected) and all(byte not in where for byte in asked.lit))
        ]
        told = sum(asked.seen is not None and own.isdisjoint(asked.seen.unsure) for asked in about)
        in_vain = len(about) - told
        return (
            in_vain >= _PATIENCE + told
            or (told + in_vain > 3 * _PATIENCE and bool(place.shared))
            or told > 4 * _PATIENCE
        )

    def _looked_at(self) -> dict[int, bool]:
        """Return, for chips of which something should have been seen, whether it ever was."""
        tried: dict[int, bool] = {}
        seen: set[int] = set()
        lit: set[int] = set()
        for asked in self._asked:
            if asked.seen is not None:
                seen |= asked.seen.lit
                lit |= set(asked.lit)
        for member, guess in enumerate(self._knowledge.guesses):
            place = self.sights.places[member]
            if guess is None:
                continue
            own = range(guess.likely, guess.likely + place.pattern.bytes)
            if not seen.isdisjoint(place.sights):
                tried[member] = True
            elif guess.likely == NOWHERE or not lit.isdisjoint(own):
                tried[member] = False
        return tried

    def _dark_run(self) -> tuple[list[int], int]:
        """Return the chips at the end of the file's chain of which none ever lit, and how many were tried."""
        run: list[int] = []
        tried = self._looked_at()
        for member in reversed(range(len(self.sights.places))):
            if tried.get(member):
                break
            run.append(member)
        return run, sum(member in tried for member in run)

    def _in_the_dark(self) -> list[int]:
        run, tried = self._dark_run()
        return run if tried >= min(_ENOUGH, self._at_once) else []

    def _tail(self) -> frozenset[int]:
        """Return the chips behind the end of the data: enough of them were tried, the first and the last among them."""
        run, tried = self._dark_run()
        known = self._looked_at()
        sure = tried >= 2 * self._at_once and run[0] in known and run[-1] in known
        return frozenset(run) if sure else frozenset()

    def _behind_the_end(self, so_far: int) -> list[int]:
        """Return a byte of the first chip behind the last one, where there is room for it and it was not tried yet.

        It mostly rides along with the last pictures. A chip there disturbs nothing; its owner forgot to write it down.
        """
        anchors = self._knowledge.anchors()
        ends = {
            guess.offset + self._knowledge.pattern(member).bytes: member in anchors
            for member, guess in enumerate(self._knowledge.guesses)
            if guess is not None and guess.state is State.LIGHTS
        }
        end = max(ends, default=0)
        if so_far >= self._at_once or not ends.get(end) or end >= self.sights.length or self._dark_run()[0]:
            return []
        return [] if any(end in asked.lit for asked in self._asked) else [end]

    def _unconfirmed(self) -> list[int]:
        """Return a byte of each chip whose fault rests on one look: it is lit by a byte that was not yet lit.

        One light that was overlooked makes a chip dark, and one colour that was mistaken makes its order wrong, so
        what is found of a chip alone has to be seen twice.
        """
        shown: dict[int, int] = {}
        for asked in self._asked:
            for byte in asked.lit:
                shown[byte] = shown.get(byte, 0) + (1 if asked.seen is None else _PATIENCE)
        lit = {byte for byte, times in shown.items() if times >= _PATIENCE}
        found = []
        for member in self._odd():
            guess = self._knowledge.guesses[member]
            if guess is not None:
                found += self._unlit(guess.offset, self.sights.places[member].pattern.bytes, lit)[:1]
        at_end = False
        for link in self.outcome().explanations[0].links:
            if (link.shows and link.data) or (at_end and not link.data):
                continue
            at_end = at_end or not link.data
            own = self._unlit(link.offset, link.width, lit)
            # A gap is what most mistakes end in; it costs little to look at the whole of it.
            seldom = len(own) > link.width - 2 or link.data
            if own and seldom and not self._given_up(link.chip):
                found.append(own[0])
        return sorted(dict.fromkeys(found))

    def _odd(self) -> list[int]:
        """Return the chips that are soldered otherwise than the file has it, and nearly alone in that."""
        lots: dict[tuple[str, int, int], list[int]] = {}
        for member, guess in enumerate(self._knowledge.guesses):
            if guess is None or guess.others or guess.state is not State.LIGHTS or member in self._unclear:
                continue
            usual = self._knowledge.in_file(member)
            if guess.soldering != usual:
                build = self.sights.places[member].fixtures[0].build
                lots.setdefault((build, usual, guess.soldering), []).append(member)
        return sorted(member for lot in lots.values() if len(lot) < _ENOUGH for member in lot)

    def _unlit(self, offset: int, width: int, lit: set[int]) -> list[int]:
        end = min(offset + width, self.sights.length)
        return [byte for byte in range(offset, end) if byte not in lit]

    def _given_up(self, member: int) -> bool:
        return member != NOWHERE and (member in self._unclear or self._told_nothing(member))

    # Answers that do not fit.

    def _about(self, member: int) -> list[int]:
        """Return the pictures in which something of a chip was seen."""
        own = set(self.sights.places[member].sights)
        return [
            index
            for index, asked in enumerate(self._asked)
            if asked.seen is not None and not own.isdisjoint(asked.seen.lit)
        ]

    def _suspect(self, member: int) -> int | None:
        """Return the answer likeliest to be wrong where nothing fits a chip; None if all were confirmed."""
        group, row = self._knowledge.row(member)
        misfits = group.misfits[row]
        fewest = min(int(misfits.min()), int(group.dark_misfits[row]))
        closest = group.prior[row] * (misfits == fewest)
        blamed: list[tuple[int, int]] = []
        for index, asked in enumerate(self._asked):
            if asked.seen is None or asked.times > 1:
                continue
            alive, dark, _idle = group.fitting(self._knowledge.windows(asked.bits, group), asked.seen)
            weight = int((closest * ~alive[row]).sum(dtype=np.int64))
            if fewest == group.dark_misfits[row] and not dark[row]:
                weight += int(closest.max()) + 1
            if weight:
                blamed.append((weight, -index))
        return -max(blamed)[1] if blamed else None

    def _look_again(self) -> None:
        """Ask again what alone stands against something far likelier."""
        odd = self._odd()
        for member, soldering, column in self._knowledge.doubtful():
            guess = self._knowledge.guesses[member]
            stays = guess is not None and guess.offset == int(self.sights.offsets[column])
            if member in self._unclear or (stays and member not in odd):
                continue
            group, row = self._knowledge.row(member)
            for index, asked in enumerate(self._asked):
                if asked.seen is None or asked.times > 1:
                    continue
                alive, _dark, _idle = group.fitting(self._knowledge.windows(asked.bits, group), asked.seen)
                if not alive[row, soldering, column]:
                    self._ask_again(index, member, at_odds=False)
                    return
