"""What was found in sentences for the owner, with the edits that would make the file say the same."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

from bridge.layout.findings import count
from bridge.trial.find_edits import (
    ChipsInOrder,
    Edit,
    Finding,
    FixturesInOrder,
    Kind,
    LampsOfBuild,
    Link,
    NothingBehind,
    OrderOfFixture,
    OrderOfType,
    PutIn,
    SplitUp,
    TakeOut,
)
from bridge.trial.find_sights import NOWHERE, Place, Sights

_SEVERAL: Final = 2


class Teller:
    """Says how a chain differs from the file."""

    def __init__(self, sights: Sights, elsewhere: Collection[str]) -> None:
        self._sights = sights
        self._places = sights.places
        self._chain = sights.chain
        self._elsewhere = elsewhere

    def tell(self, links: Sequence[Link], *, left_out: Collection[int], behind: bool) -> tuple[Finding, ...]:
        """Return every difference.

        Args:
            links: the chips in the order of the line, at last those that get no data.
            left_out: chips of which nothing is known.
            behind: whether a light was seen from a byte behind the last chip.
        """
        found: list[Finding] = []
        bright = [link for link in links if link.shows and link.data]
        ends = [link.chip for link in links if not link.data]
        found += self._positions(bright)
        found += self._orders(bright)
        found += self._forks(bright)
        for link in links:
            if link.chip == NOWHERE or link.chip not in left_out:
                found += self._faults(link, links)
        there = {link.chip for link in links} | set(left_out)
        found += [self._missing(member, links) for member in range(len(self._places)) if member not in there]
        if ends:
            found.append(self._end(ends))
        if behind:
            words = (
                f"behind the last chip of {self._chain.key} hangs another one, which the file does not have"
            )
            last = self._chain.fixtures[-1].name
            found.append(
                Finding(Kind.SURPLUS, words, (), (self._put_in(last, self._places[-1].chip.type.name),))
            )
        return tuple(found)

    def open(self, open_ones: Collection[int], unclear: Collection[int]) -> tuple[Finding, ...]:
        """Say what could not be found out."""
        found = [
            Finding(
                Kind.OPEN,
                f"{self._places[member].name}: what was seen of it does not fit together, even asked again; "
                "look at its soldering, and begin anew",
                (self._name(member),),
            )
            for member in sorted(unclear)
        ]
        if open_ones:
            names = [self._places[member].name for member in sorted(open_ones)]
            words = f"not found out yet: {_listed(names)}"
            found.append(Finding(Kind.OPEN, words, tuple(self._name(member) for member in sorted(open_ones))))
        if not self._sights.coloured:
            untold = [
                place
                for place in self._places
                if len(place.sights) < sum(local != NOWHERE for local in place.pattern.local)
            ]
            if untold:
                words = (
                    f"in which order the bytes of {_listed([place.name for place in untold])} arrive cannot be told "
                    "without colours: their lights sit at one place; let somebody look who tells colours, or hold a "
                    "red filter before them"
                )
                found.append(Finding(Kind.UNTOLD, words, tuple(place.fixtures[0].name for place in untold)))
        return tuple(found)

    def _name(self, member: int) -> str:
        return self._places[member].fixtures[0].name

    # Where fixtures are.

    def _positions(self, bright: Sequence[Link]) -> list[Finding]:
        found: list[Finding] = []
        starts: dict[str, int] = {}
        offsets: dict[int, int] = {}
        for link in bright:
            offsets[self._places[link.chip].chip.position] = link.offset
            starts.setdefault(self._name(link.chip), link.offset)
        names = [fixture.name for fixture in self._chain.fixtures if fixture.name in starts]
        now = sorted(names, key=lambda name: starts[name])
        if now != names:
            found.append(self._moved(names, now))
        for fixture in self._chain.fixtures:
            own = [
                (offsets[position], number + 1)
                for number, position in enumerate(fixture.positions)
                if position in offsets
            ]
            order = tuple(number for _offset, number in sorted(own))
            if order != tuple(number for _offset, number in own):
                words = f"{fixture.name}: its chips follow each other on the line as {_listed([str(n) for n in order])}"
                edits: tuple[Edit, ...] = (ChipsInOrder(fixture.name, order),)
                found.append(Finding(Kind.INSIDE, words, (fixture.name,), edits))
        return found + self._between([self._name(link.chip) for link in bright])

    def _between(self, line: list[str]) -> list[Finding]:
        """Say what hangs between the chips of one fixture; `line` has the fixture of each chip that lights."""
        found = []
        for name in dict.fromkeys(line):
            first, last = line.index(name), len(line) - line[::-1].index(name)
            others = tuple(dict.fromkeys(other for other in line[first:last] if other != name))
            if others:
                verb = "hangs" if len(others) == 1 else "hang"
                words = f"{_listed(others)} {verb} between the chips of {name}, which follow each other by the file"
                found.append(Finding(Kind.INSIDE, words, (name, *others), (SplitUp(name, others),)))
        return found

    def _moved(self, names: list[str], now: list[str]) -> Finding:
        whole = self._in_new_order(now)
        edit = (FixturesInOrder(self._chain.node, self._chain.name, whole),)
        differ = [name for name, other in zip(names, now, strict=True) if name != other]
        if len(differ) == _SEVERAL:
            words = f"{differ[0]} and {differ[1]} stand in each other's places"
            return Finding(Kind.EXCHANGED, words, tuple(differ), edit)
        if now == names[::-1]:
            words = (
                f"{self._chain.key} runs the other way round: the node's data come in at {now[0]}, "
                f"and the file begins with {names[0]}"
            )
            return Finding(Kind.REVERSED, words, tuple(now), edit)
        for name in names:
            if [each for each in names if each != name] == [each for each in now if each != name]:
                at = now.index(name)
                where = f"behind {now[at - 1]}" if at else "at the beginning"
                return Finding(Kind.MOVED, f"{name} stands {where}", (name,), edit)
        words = f"the fixtures of {self._chain.key} stand in another order: {_listed(now)}"
        return Finding(Kind.MOVED, words, tuple(differ), edit)

    def _in_new_order(self, now: list[str]) -> tuple[str, ...]:
        """Return all fixtures in their new order; those that show nothing stay behind the one before them."""
        whole = list(now)
        before = ""
        for fixture in self._chain.fixtures:
            if fixture.name not in now:
                whole.insert(whole.index(before) + 1 if before else 0, fixture.name)
            before = fixture.name
        return tuple(whole)

    # How they are soldered.

    def _orders(self, links: Sequence[Link]) -> list[Finding]:
        lots: dict[tuple[str, str, tuple[int, ...], tuple[int, ...], int], list[Link]] = {}
        right: set[str] = set()
        for link in links:
            place = self._places[link.chip]
            chip, build = place.chip.type, place.fixtures[0].build
            # Separate LEDs are soldered by the build, and pixels come from the maker by the reel.
            lot = build if chip.driver else ""
            if link.channels == place.channels:
                right |= {lot or chip.name}
            else:
                number = self._number(place) if chip.driver else 0
                key = chip.name, lot, place.channels, link.channels, number
                lots.setdefault(key, []).append(link)
        alone = [lot or kind for kind, lot, _usual, _now, _number in lots]
        found: list[Finding] = []
        for (kind, lot, _usual, _now, _number), own in lots.items():
            name = lot or kind
            together = name not in right and alone.count(name) == 1 and len(own) >= _SEVERAL
            if together and not lot:
                found.append(self._type(kind, own))
            elif together and self._may_change(lot, own):
                found.append(self._build(lot, own))
            else:
                found += [self._single(link) for link in own]
        return found

    def _number(self, place: Place) -> int:
        """Return which chip of its build a chip is, from 1."""
        return place.fixtures[0].positions.index(place.chip.position) + 1

    def _letters(self, link: Link) -> str:
        return "".join(self._places[link.chip].chip.type.order[channel] for channel in link.channels)

    def _type(self, kind: str, own: Sequence[Link]) -> Finding:
        order = self._letters(own[0])
        words = f"all {kind} of {self._chain.key} take their bytes in the order {order}"
        names = tuple(dict.fromkeys(self._name(link.chip) for link in own))
        return Finding(
            Kind.ORDER, words, names, (OrderOfType(self._chain.node, self._chain.name, kind, order),)
        )

    def _may_change(self, build: str, own: Sequence[Link]) -> bool:
        alone = all(len(self._places[link.chip].fixtures) == 1 for link in own)
        return build not in self._elsewhere and alone

    def _build(self, build: str, own: Sequence[Link]) -> Finding:
        link = own[0]
        place = self._places[link.chip]
        number = self._number(place)
        channels = []
        for head in place.fixtures[0].heads:
            for lamp in head.lamps:
                for wire in lamp.wires:
                    if wire.chip == place.chip.position:
                        now = place.channels[link.channels.index(wire.channel)]
                        if now != wire.channel:
                            channels.append((head.name, lamp.name, number, wire.channel + 1, now + 1))
        words = f"every {build} of {self._chain.key} is soldered otherwise: {self._lights(link)}"
        names = tuple(dict.fromkeys(self._name(each.chip) for each in own))
        return Finding(Kind.LAMPS, words, names, (LampsOfBuild(build, tuple(channels)),))

    def _single(self, link: Link) -> Finding:
        place = self._places[link.chip]
        order = self._letters(link)
        edit: tuple[Edit, ...] = (OrderOfFixture(place.fixtures[0].name, self._number(place), order),)
        names = tuple(fixture.name for fixture in place.fixtures)
        if not place.chip.type.driver:
            usual = "".join(place.chip.type.order[channel] for channel in place.channels)
            words = f"{place.name} takes its bytes in the order {order}, and the file has {usual}"
            return Finding(Kind.ORDER, words, names, edit)
        return Finding(Kind.LAMPS, f"{place.name}: {self._lights(link)}", names, edit)

    def _lights(self, link: Link) -> str:
        """Say which lights of a driver lie on other channels."""
        place = self._places[link.chip]

        def on(channel: int) -> str:
            local = place.pattern.local[channel]
            if local == NOWHERE:
                return "nothing"
            sight = self._sights.all[place.sights[local]]
            return sight.what if len(place.fixtures) == 1 and sight.what else str(sight)

        usual, now = ([on(channel) for channel in each] for each in (place.channels, link.channels))
        differ = [(one, other) for one, other in zip(usual, now, strict=True) if one != other]
        if len(differ) == _SEVERAL and differ[0] == differ[1][::-1] and "nothing" not in differ[0]:
            return f"its {differ[0][0]} and {differ[0][1]} LEDs are exchanged"
        return f"its outputs light {_listed(now)}, and by the file {_listed(usual)}"

    # What is broken, missing or too many.

    def _forks(self, bright: Sequence[Link]) -> list[Finding]:
        at: dict[int, list[int]] = {}
        for link in bright:
            at.setdefault(link.offset, []).append(link.chip)
        return [
            Finding(
                Kind.FORKED,
                f"{_listed([self._places[each].name for each in chips])} get the same bytes: "
                "the data line is forked before them, and the file has them one after the other",
                tuple(self._name(each) for each in chips),
            )
            for chips in at.values()
            if len(chips) > 1
        ]

    def _faults(self, link: Link, links: Sequence[Link]) -> list[Finding]:
        if link.chip == NOWHERE:
            behind = self._before(link, links)
            where = f"behind {behind}" if behind else "at the beginning of the chain"
            kind = next(place.chip.type.name for place in self._places if place.pattern.bytes == link.width)
            words = f"{where} hangs a chip that the file does not have"
            return [Finding(Kind.SURPLUS, words, (), (self._put_in(behind, kind),))]
        name = self._places[link.chip].name
        if not link.shows and not link.data:
            words = f"{name} is dark, and without data it would be lit: it is dead besides, or has no supply"
            return [Finding(Kind.DARK, words, (self._name(link.chip),))]
        if not link.shows and self._places[link.chip].sights:
            words = f"{name} shows nothing and hands on the data: it is dead or has no supply"
            beside = [each.chip for each in self._beside(link, links)]
            if link.chip - 1 in beside or link.chip + 1 in beside:
                words += ", or another chip is in its place"
            else:
                words += f"; it then stands behind {self._before(link, links) or 'the node'}"
            return [Finding(Kind.DARK, words, (self._name(link.chip),))]
        if link.broken != NOWHERE:
            words = f"{self._sights.all[link.broken]} never lights: the LED is dead, turned round, or not connected"
            return [Finding(Kind.BROKEN, words, (self._name(link.chip),))]
        if link.double:
            words = f"in the place of {name} there are two chips one after the other, and the file has one"
            kind = self._places[link.chip].chip.type.name
            return [
                Finding(
                    Kind.DOUBLE,
                    words,
                    (self._name(link.chip),),
                    (self._put_in(self._name(link.chip), kind),),
                )
            ]
        return []

    def _beside(self, link: Link, links: Sequence[Link]) -> Sequence[Link]:
        at = links.index(link)
        return [*links[max(0, at - 1) : at], *links[at + 1 : at + 2]]

    def _before(self, link: Link, links: Sequence[Link]) -> str:
        earlier = [each for each in links if each.offset < link.offset and each.chip != NOWHERE]
        return self._name(max(earlier, key=lambda each: each.offset).chip) if earlier else ""

    def _put_in(self, behind: str, kind: str) -> PutIn:
        return PutIn(self._chain.node, self._chain.name, behind, kind)

    def _missing(self, member: int, links: Sequence[Link]) -> Finding:
        place = self._places[member]
        shining = any(link.chip != NOWHERE and link.chip > member for link in links)
        words = f"{place.name} is not on the line" + ("" if shining else ", or each of its parts is dead")
        if shining:
            words += ": what follows is one chip nearer to the node than the file has it"
        fixture = place.fixtures[0].name
        return Finding(Kind.MISSING, words, (fixture,), (TakeOut(fixture, self._number(place)),))

    def _end(self, ends: Sequence[int]) -> Finding:
        first = self._places[ends[0]].name
        edits: tuple[Edit, ...] = (NothingBehind(self._name(ends[0]), self._number(self._places[ends[0]])),)
        if len(ends) == len(self._places):
            words = (
                f"nothing of {self._chain.key} lights: look at its supply, at the data line and at {first}"
            )
            edits = ()  # mostly it is no chip of this chain
        elif len(ends) == 1:
            words = f"{first}, the last one, gets no data or is dead"
        else:
            words = (
                f"from {first} on nothing lights ({count(len(ends), 'chip')}): the data end in it, "
                "or in the line before it"
            )
        return Finding(Kind.END, words, tuple(dict.fromkeys(self._name(each) for each in ends)), edits)


def _listed(names: Sequence[str]) -> str:
    if len(names) < _SEVERAL:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
