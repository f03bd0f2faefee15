"""The finder as a talk over a plain terminal: questions as text, answers as an owner types them.

Nothing is read and nothing is printed here. Who holds the talk shows `prompt`, sends the picture, hands each typed
line to `say` and shows what that returns.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from bridge.layout.findings import count
from bridge.trial.find import Finder
from bridge.trial.find_places import Seen

YES: Final = frozenset({"yes", "y", "ok", "right"})
NOTHING: Final = frozenset({"nothing", "none", "dark"})
UNSURE: Final = frozenset({"?", "unsure", "do not know", "don't know"})
UNDO: Final = frozenset({"undo", "back"})
STOP: Final = frozenset({"stop", "quit", "q"})
_OFF: Final = frozenset({"off", "dark", "no", "nothing"})
_OTHER: Final = frozenset({"other", "another"})

ASKS: Final = "What do you see? (yes, nothing, ?, or what differs; help says how)"

HELP: Final = """\
yes           just what is listed, and nothing else
1 off         number 1 is not lit
2 green       number 2 shows green and not what is listed
+ T6 red      T6 shows red as well, and is not listed
+ other       a light shines that is not in the layout file
nothing       no light at all
only 1, 3     these of the list and no others
2 ?           cannot say of number 2
?             cannot say at all
undo          take the last answer back
stop or q     end here, with what is known so far
Several of them are written with commas: 1 off, 2 green, + T6 red"""


class _NotUnderstood(Exception):  # noqa: N818 - it is no error: the owner is told and asked again
    """What was typed means nothing here; the message says what would."""


@dataclass(slots=True)
class _Draft:
    lit: set[int]
    unsure: set[int]
    other: bool = False


class Dialogue:
    """One talk about one chain.

    Attributes:
        finder: who asks.
        stopped: whether the owner ended it.
    """

    def __init__(self, finder: Finder) -> None:
        self.finder = finder
        self.stopped = False
        self._called = {sight.fixture.lower(): sight.fixture for sight in finder.sights.all}
        self._words = [
            (sight.fixture.lower(), _words_of(sight.what, sight.also)) for sight in finder.sights.all
        ]
        # The longest name first, so that `T1 A` is not taken for `T1`.
        self._fixtures = sorted({name for name, _words in self._words}, key=lambda name: (-len(name), name))

    @property
    def finished(self) -> bool:
        """Whether there is nothing more to ask."""
        return self.stopped or self.finder.question is None

    @property
    def picture(self) -> bytes | None:
        """What the chain shows meanwhile; None at the end."""
        return None if self.stopped or self.finder.question is None else self.finder.question.picture

    @property
    def prompt(self) -> str:
        """The present question, or what was found, as lines of text."""
        question = self.finder.question
        if self.stopped or question is None:
            return self._report()
        left = self.finder.left
        lines = [f"Question {question.number}; about {count(left, 'question')} left, with this one."]
        if question.again:
            lines = [f"Question {question.number} again: {question.again}."]
        if question.expected:
            lines.append("By what is known so far there are lit now:")
            lines += [
                f"  {place}  {self.finder.sight(number)}"
                for place, number in enumerate(question.expected, start=1)
            ]
        else:
            lines.append("By what is known so far nothing is lit now.")
        lines.append(ASKS)
        return "\n".join(lines)

    def say(self, text: str) -> str:
        """Take a typed line.

        Returns:
            What there is to say to it: empty where the next `prompt` says it all. A line that is not understood
            changes nothing.
        """
        line = " ".join(text.lower().split())
        if line in {"help", "h"}:
            return HELP
        if line in STOP:
            self.stopped = True
            return ""
        if line in UNDO:
            self.stopped = False
            return "" if self.finder.undo() else "There is no answer to take back."
        if self.finished:
            return "There is nothing more to ask; `undo` takes the last answer back."
        try:
            self.finder.answer(self._seen(line))
        except _NotUnderstood as problem:
            return f"{problem}. `help` says what can be answered."
        return ""

    def _seen(self, line: str) -> Seen | None:
        question = self.finder.question
        expected = () if question is None else question.expected
        if not line:
            raise _NotUnderstood("Nothing was typed")
        if line in UNSURE:
            return None
        if line in NOTHING:
            return Seen(frozenset())
        only = line.startswith("only ")
        draft = _Draft(set() if only else set(expected), set())
        if line not in YES:
            for part in re.split(r"\s*[,;]\s*", line.removeprefix("only ")):
                self._part(part, expected, draft, only=only)
        return Seen(frozenset(draft.lit), frozenset(draft.unsure), draft.other)

    def _part(self, part: str, expected: tuple[int, ...], draft: _Draft, *, only: bool) -> None:
        more = part.startswith("+")
        said = part.removeprefix("+").strip()
        if said in _OTHER or said.split(" ")[0] in _OTHER:
            draft.other = True
            return
        numbered = re.match(r"(\d+)(?:\s+(.*))?$", said)
        if numbered and not more and not self._fixture_of(said):
            place = int(numbered[1])
            if not 1 <= place <= len(expected):
                listed = f"the list has 1 to {len(expected)}" if expected else "the list is empty"
                raise _NotUnderstood(f"There is no number {place}: {listed}")
            self._listed(expected[place - 1], numbered[2] or "", draft)
            return
        fixture = self._fixture_of(said)
        if not fixture:
            names = sorted({sight.fixture for sight in self.finder.sights.all})
            raise _NotUnderstood(
                f"{said!r} begins with no number of the list and no fixture of this chain ({', '.join(names[:8])} ...)"
            )
        words = said.removeprefix(fixture).strip()
        places = [
            place for place, number in enumerate(expected, start=1) if self._words[number][0] == fixture
        ]
        if places and not more and not only:
            name = self._called[fixture]
            shown = words or "green"
            raise _NotUnderstood(
                f"{name} is number {places[0]} of the list: say `{places[0]} {shown}` if it shows that and not what is "
                f"listed, or `+ {name} {shown}` if it shows that as well"
            )
        draft.lit.add(self._find(fixture, words))

    def _listed(self, number: int, words: str, draft: _Draft) -> None:
        """Take what is said of a light of the list."""
        if words in _OFF:
            draft.lit.discard(number)
        elif words in UNSURE:
            draft.lit.discard(number)
            fixture = self._words[number][0]
            # Whoever cannot make out what a fixture shows cannot say of any of its lights that it is dark.
            draft.unsure |= {other for other, (name, _known) in enumerate(self._words) if name == fixture}
        elif words in {"", "on"}:
            draft.lit.add(number)
        else:
            found = self._find(self._words[number][0], words)
            draft.lit.discard(number)
            draft.lit.add(found)

    def _fixture_of(self, said: str) -> str:
        return next((name for name in self._fixtures if said == name or said.startswith(f"{name} ")), "")

    def _find(self, fixture: str, words: str) -> int:
        """Return the one sight of a fixture that is meant."""
        own = [number for number, (name, _words) in enumerate(self._words) if name == fixture]
        wanted = words.split()
        for fits in self._ways(wanted):
            found = [number for number in own if fits(self._words[number][1])]
            if len(found) == 1:
                return found[0]
        names = " or ".join(f"{self.finder.sight(number)}" for number in own)
        raise _NotUnderstood(
            f"{words!r} does not say which light of {self._called[fixture]} is meant: {names}"
        )

    @staticmethod
    def _ways(wanted: list[str]) -> tuple[Callable[[tuple[str, ...]], bool], ...]:
        """Return how words may fit a sight: as it is listed, or as some of all words that it is known by."""
        listed = " ".join(wanted)
        return (lambda known: known[0] == listed, lambda known: set(wanted) <= set(" ".join(known).split()))

    def _report(self) -> str:
        outcome = self.finder.outcome()
        lines: list[str] = []
        common = outcome.common
        lines += [f"- {each.words}" for each in common]
        if len(outcome.explanations) > 1:
            lines.append(
                f"{len(outcome.explanations)} explanations are left, and no picture can tell them apart:"
            )
            for number, explanation in enumerate(outcome.explanations, start=1):
                own = [each.words for each in explanation.findings if each not in common]
                lines.append(f"  {number}. {'; '.join(own) or 'nothing more than that'}")
        lines += [f"- {each.words}" for each in outcome.open]
        if not lines:
            lines = [f"{self.finder.sights.chain.key} is wired as the file has it."]
        return "\n".join(("", *lines)).strip("\n")


def _words_of(what: str, also: tuple[str, ...]) -> tuple[str, ...]:
    return (what.lower(), *(word.lower() for word in also))
