"""From what is known of each chip to the chain as a whole: gaps are explained, and what differs from the file is said.

A chip that shows nothing leaves no trace but the bytes it takes. So where the lights on both sides of it are
shifted it is not there, and where they are not, it is there and dark. At the end of the line the two look the same,
and both are said.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, pairwise, permutations, product
from typing import Final

from bridge.trial.find_edits import Explanation, Link, Outcome
from bridge.trial.find_places import Guess, Knowledge, State
from bridge.trial.find_sights import NOWHERE, Pattern, soldering_of
from bridge.trial.find_telling import Teller

_MOST: Final = 12
"""So many explanations are listed at most."""

_SHORT: Final = 2
"""So many chips at the end may each be gone by itself; that more are is not worth a sentence beside a cut line."""


def conclude(
    knowledge: Knowledge,
    *,
    unclear: Collection[int],
    tail: Collection[int] = (),
    looked_at: Collection[int],
    others: Sequence[tuple[int, ...]],
    elsewhere: Collection[str] = (),
) -> Outcome:
    """Return what was found so far.

    Args:
        knowledge: what is possible of each chip.
        unclear: chips about which the answers never fitted.
        tail: chips behind the end of the data.
        looked_at: bytes that were lit in some picture.
        others: the lit bytes of each picture in which a light was seen that the file does not have.
        elsewhere: builds that other chains use too, which must not be changed for this one.
    """
    closer = _Closer(knowledge, unclear, tail)
    teller = Teller(knowledge.sights, elsewhere)
    open_ones = closer.open_ones(looked_at)
    explanations: list[Explanation] = []
    for links in islice(closer.wirings(), _MOST):
        end = max((link.offset + link.width * (1 + link.double) for link in links if link.data), default=0)
        strange = {
            byte
            for link in links
            if link.chip == NOWHERE
            for byte in range(link.offset, link.offset + link.width)
        }
        behind = all(link.data for link in links) and any(
            lit and max(lit) >= end and strange.isdisjoint(lit) for lit in others
        )
        findings = teller.tell(links, left_out=closer.left_out, behind=behind)
        if all(findings != each.findings for each in explanations):
            explanations.append(Explanation(links, findings))
    told = teller.open(open_ones, unclear)
    return Outcome(tuple(explanations), told, settled=not open_ones and not unclear)


@dataclass(frozen=True, slots=True)
class _Filling:
    """What may lie in a gap."""

    links: tuple[Link, ...]
    used: frozenset[int]


class _Closer:
    """Puts the chips on the line."""

    def __init__(self, knowledge: Knowledge, unclear: Collection[int], tail: Collection[int]) -> None:
        self._knowledge = knowledge
        self._places = knowledge.sights.places
        self._solderings: dict[tuple[int, tuple[int, ...]], tuple[int, ...]] = {}
        self._bright: list[Link] = []
        self.left_out: list[int] = []
        """Chips of which it is not known where they are, or that have nothing to show."""
        self._dark: list[int] = []
        self._without_data: list[int] = []
        for member, guess in enumerate(knowledge.guesses):
            lost = guess is not None and guess.others > 0 and not self._places[member].shared
            if guess is None or member in unclear or (lost and member not in tail):
                self.left_out.append(member)
            elif guess.state is State.LIGHTS and member not in tail:
                self._bright.append(self._link(member, guess))
            else:
                self._dark.append(member)
                if guess.state is State.WITHOUT_DATA:
                    self._without_data.append(member)
        self._bright.sort(key=lambda link: (link.offset, link.chip))
        bright = [link.chip for link in self._bright]
        self._turned = (
            len(bright) > 1 and sum(one > other for one, other in pairwise(bright)) * 2 > len(bright) - 1
        )

    def open_ones(self, looked_at: Collection[int]) -> list[int]:
        """Return the chips of which more than one thing is possible that a picture could still tell apart."""
        dark = set(self._dark)
        tail = set(self._tail())
        found = []
        for member, guess in enumerate(self._knowledge.guesses):
            if guess is None or not guess.others:
                continue
            if member in tail and member in dark and looked_at:
                continue
            if self._places[member].shared:
                continue  # what remains is which of several chips lights the same lamp
            found.append(member)
        return found

    def _link(self, member: int, guess: Guess) -> Link:
        place, pattern = self._places[member], self._knowledge.pattern(member)
        soldering = pattern.solderings[guess.soldering]
        channels = soldering.channels
        if pattern is place.pattern:
            channels = self._closest(pattern, guess.soldering, place.channels)
        broken = NOWHERE if soldering.broken == NOWHERE else place.sights[soldering.broken]
        return Link(member, guess.offset, pattern.bytes, channels, broken=broken, double=soldering.double)

    def _closest(self, pattern: Pattern, index: int, usual: tuple[int, ...]) -> tuple[int, ...]:
        """Return, of all solderings that look alike, the one that has least to be changed in the file."""
        like = pattern.solderings[index].channels
        key = pattern.bytes * 1000 + index, (*pattern.local, *usual, *like)
        if key not in self._solderings:
            alike = [
                each for each in permutations(range(pattern.bytes)) if soldering_of(pattern, each) == index
            ]
            self._solderings[key] = min(
                alike, key=lambda each: sum(one != other for one, other in zip(each, usual, strict=True))
            )
        return self._solderings[key]

    def _tail(self) -> list[int]:
        """Return the chips at the far end of the line of which none shows anything, in the order of the line."""
        dark = set(self._dark) | set(self.left_out)
        order = list(range(len(self._places)))
        if not self._turned:
            order.reverse()
        tail = []
        for member in order:
            if member not in dark:
                break
            tail.append(member)
        return [member for member in reversed(tail) if member not in self.left_out]

    def wirings(self) -> Iterator[tuple[Link, ...]]:
        """Go through all explanations: the chips in the order of the line, at last those that get no data."""
        tail = self._tail()
        inner = [member for member in self._dark if member not in tail]
        gaps = list(self._gaps())
        fillings = [
            self._fillings(start, size, before, after, inner, tail) for start, size, before, after in gaps
        ]
        for chosen in product(*fillings):
            used = [member for filling in chosen for member in sorted(filling.used)]
            if len(used) != len(set(used)):
                continue
            links = [*self._bright, *(link for filling in chosen for link in filling.links)]
            lost = [member for member in self._without_data if member not in tail]
            rest = [member for member in (*tail, *lost) if member not in used]
            whole = tuple(sorted(links, key=lambda link: (link.offset, link.chip)))
            if rest:
                yield (*whole, *self._lost(whole, rest))
            if not rest or (len(rest) <= _SHORT and not self._without_data):
                yield whole

    def _lost(self, links: tuple[Link, ...], members: Sequence[int]) -> Iterator[Link]:
        """Go through the chips that get no data; what lights without data and is dark all the same is dead besides."""
        offset = max((link.offset + link.width * (1 + link.double) for link in links), default=0)
        for member in members:
            place = self._places[member]
            shows = member in self._without_data or not place.pattern.without_data
            yield Link(member, offset, place.pattern.bytes, place.channels, shows=shows, data=False)
            offset += place.pattern.bytes

    def _gaps(self) -> Iterator[tuple[int, int, int, int]]:
        """Go through the stretches of the line where no light is: start, bytes, and the chips on both sides."""
        end, before = 0, NOWHERE
        for link in self._bright:
            if link.offset > end:
                yield end, link.offset - end, before, link.chip
            stop = link.offset + link.width * (1 + link.double)
            if stop > end:
                end, before = stop, link.chip

    def _fillings(
        self, start: int, size: int, before: int, after: int, inner: list[int], tail: list[int]
    ) -> list[_Filling]:
        """Return what may lie in a gap."""
        local = [member for member in inner if self._belongs(member, before, after)]
        loose = [member for member in self.left_out if self._belongs(member, before, after)]
        local = sorted((*local, *loose), reverse=self._turned)
        if self._size(local) == size:
            return [self._filling(start, local, 0)]
        some = [
            self._filling(start, list(each), 0)
            for count in range(len(local) - 1, 0, -1)
            for each in combinations(local, count)
            if self._size(each) == size
        ]
        if some:
            return some
        widths = sorted({place.pattern.bytes for place in self._places})
        found = [
            self._filling(start, [member], 0)
            for member in (*inner, *tail, *self.left_out)
            if member not in local and self._size([member]) == size
        ]
        for known in (local, []) if local else ([],):
            room = size - self._size(known)
            width = next((each for each in widths if room > 0 and room % each == 0), 0)
            if width:
                found.append(self._filling(start, list(known), room, width))
        return found or [_Filling((), frozenset())]

    def _belongs(self, member: int, before: int, after: int) -> bool:
        """Return whether a chip would be in a gap by the file, going by its neighbours that show something."""
        shining = sorted(link.chip for link in self._bright)
        lower = max((chip for chip in shining if chip < member), default=NOWHERE)
        upper = min((chip for chip in shining if chip > member), default=NOWHERE)
        first, last = (upper, lower) if self._turned else (lower, upper)
        return first == before or last == after

    def _size(self, members: Sequence[int]) -> int:
        return sum(self._places[member].pattern.bytes for member in members)

    def _filling(self, start: int, members: list[int], room: int, width: int = 1) -> _Filling:
        links, offset = [], start
        for member in members:
            place = self._places[member]
            unknown = member in self.left_out  # and so taken to be as the file has it
            links.append(Link(member, offset, place.pattern.bytes, place.channels, shows=unknown))
            offset += place.pattern.bytes
        for _ in range(room // width):
            links.append(Link(NOWHERE, offset, width, tuple(range(width)), shows=False))
            offset += width
        return _Filling(tuple(links), frozenset(members))
