"""What would have made it show better: the smallest sets of things, tried one by one with the logic itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Final, NamedTuple

from bridge.engine import Engine
from bridge.events import SECOND, Event, Instant
from bridge.layout.conditions import ButtonRuns, Condition, leaves
from bridge.layout.controls import asked
from bridge.layout.crossings import Crossing, Phase
from bridge.layout.findings import either
from bridge.layout.model import DARK, OFF, ON, Layout
from bridge.logic.supposing import Supposing, Trial
from bridge.record.why.answer import Needed
from bridge.record.why.candidates import Candidate, candidates
from bridge.record.why.rows import devices_of

BUDGET: Final = 12_000
"""Devices that are made anew in all trials together: a few seconds on a small board."""

AT_ONCE: Final = 3
"""Things that are tried together, every set of them. Of more, one set is looked for that is right."""

CLIMBING: Final = 2
"""That part of the budget is there for such a set, whatever was spent before."""

CLIMBS: Final = 3
"""How often such a set is looked for: what seems to lead on at first, such as the opposite order, may lead nowhere."""

AT_MOST: Final = 16
"""Things of which such a set may consist."""

PER_ASPECT: Final = 6
"""Sets that are told for one aspect."""

LONGEST_RUN: Final = 600 * SECOND
"""What a button has begun is not waited for any longer."""


class Found(NamedTuple):
    """What was found.

    Attributes:
        needed: the smallest sets, the best aspect first.
        impossible: sentences about aspects that could not be reached.
        sets: the candidates of each of `needed`.
    """

    needed: tuple[Needed, ...]
    impossible: tuple[str, ...]
    sets: tuple[tuple[Candidate, ...], ...]


def steps_of(chosen: Sequence[Candidate]) -> list[list[Event]]:
    """Return the events of some candidates: what is told first, then what is ordered, what lies far away first."""
    ordered = sorted(chosen, key=lambda each: each.turn)
    facts = [event for each in ordered for event in each.facts]
    orders = [event for each in ordered for event in each.orders]
    return [step for step in (facts, orders) if step]


def longest_wait(layout: Layout) -> Instant:
    """Return how long it may take until all timers have run out that a change may set off."""
    blocks = max((max(each.clear_after, each.occupied_after) for each in layout.blocks), default=0)
    power = max((each.settle for each in layout.districts), default=0)
    locks = max(
        (each.locking.time + each.locking.release for each in layout.signals if each.routes), default=0
    )
    roads = max((each.amber + _gates_time(each) for each in layout.crossings), default=0)
    runs = [
        leaf.time for each in _conditions(layout) for leaf in leaves(each) if isinstance(leaf, ButtonRuns)
    ]
    return blocks + power + locks + roads + min(max(runs, default=0), LONGEST_RUN) + SECOND


def _gates_time(crossing: Crossing) -> Instant:
    gates = crossing.gates
    return 0 if gates is None else gates.start_after + gates.lowering + gates.raising


def _conditions(layout: Layout) -> Iterator[Condition]:
    yield from (light.when for light in layout.lights)
    yield from (row.when for zone in layout.zones for row in zone.rows)


def ranks_of(layout: Layout, name: str, present: str) -> dict[str, int]:
    """Return how good each aspect of a thing is; where none is better than another, all others are better than this."""
    for signal in layout.signals:
        if signal.name == name:
            return {DARK: -1} | {row.name: rank for rank, row in enumerate(signal.aspects)}
    if any(light.name == name for light in layout.lights):
        return {ON: 1, OFF: 1} | {present: 0}
    if any(crossing.name == name for crossing in layout.crossings):
        return {phase.value: int(phase is Phase.IDLE) for phase in Phase}
    zones = [zone for zone in layout.zones if zone.name == name]
    levels = {str(level) for zone in zones for level in (zone.level, *(row.level for row in zone.rows))}
    return dict.fromkeys(levels or {ON, OFF}, 1) | {present: 0}


class _Search:
    def __init__(self, engine: Engine, name: str) -> None:
        self._layout = engine.layout
        self._name = name
        self._near: Supposing = engine.suppose(name)
        self.whole: Supposing | None = engine.suppose(name, whole=True) if self._near.cut else None
        self._wait = longest_wait(engine.layout)
        self._now = engine.now
        present = engine.asked.state_of(name).aspect
        self.ranks = ranks_of(engine.layout, name, present)
        self.rank = self.ranks.get(present, 0)
        self.all = candidates(engine, self._near.devices)
        self._tried: dict[frozenset[int], Trial] = {}
        self._left = BUDGET // max(len(self._near.devices), 1)
        self.found: dict[str, list[tuple[frozenset[int], Instant]]] = {}

    @property
    def trials(self) -> int:
        """How much was tried."""
        return len(self._tried)

    @property
    def targets(self) -> list[str]:
        """The better aspects, the best first."""
        better = [aspect for aspect, rank in self.ranks.items() if rank > self.rank]
        return sorted(better, key=lambda aspect: -self.ranks[aspect])

    @property
    def open(self) -> list[str]:
        """Those for which nothing was found yet."""
        wished = {aspect for aspect, _mark in self._asked_for()}
        return [each for each in self.targets if each not in self.found and (not wished or each in wished)]

    def _asked_for(self) -> Iterator[tuple[str, object]]:
        for signal in self._layout.signals:
            if signal.name == self._name:
                for control in signal.controls:
                    yield from asked(control)
                yield from ((route.at_most, route.mark) for route in signal.routes if route.at_most)

    def trial(self, chosen: frozenset[int]) -> Trial | None:
        """Return what comes of some candidates, by their places, or None where there was no time left for it."""
        if chosen not in self._tried:
            if self._left <= 0:
                return None
            self._left -= 1
            self._tried[chosen] = self._near.tell(self.steps(chosen), self._wait)
        return self._tried[chosen]

    def steps(self, chosen: frozenset[int]) -> list[list[Event]]:
        return steps_of([self.all[place] for place in sorted(chosen)])

    def better(self, chosen: frozenset[int]) -> dict[str, Instant]:
        """Return the better aspects that come of some candidates, with how long each takes."""
        trial = self.trial(chosen)
        found: dict[str, Instant] = {}
        for stage in () if trial is None else trial.stages:
            if self.ranks.get(stage.choice.aspect, -2) > self.rank:
                found.setdefault(stage.choice.aspect, stage.at - self._now)
        return found

    def take(self, chosen: frozenset[int]) -> None:
        """Take note of what a set reaches that nothing within it does."""
        for aspect, after in self.better(chosen).items():
            known = self.found.get(aspect, [])
            if any(each <= chosen for each, _after in known):
                continue
            smaller = (part for size in range(len(chosen)) for part in combinations(sorted(chosen), size))
            if any(aspect in self.better(frozenset(part)) for part in smaller):
                continue
            self.found.setdefault(aspect, []).append((chosen, after))

    def drop_what_does_less(self) -> None:
        """Forget sets of which a part, or all, reaches something better still."""
        for place, aspect in enumerate(self.targets):
            better = [each for other in self.targets[:place] for each, _after in self.found.get(other, [])]
            left = [
                each for each in self.found.get(aspect, []) if not any(other <= each[0] for other in better)
            ]
            if better and aspect in self.found:
                self.found[aspect] = left

    def plainness(self, found: tuple[frozenset[int], Instant]) -> tuple[int, int, list[int]]:
        """Return by what sets are put in order: the smaller first, and those that need a train last."""
        chosen, _after = found
        trains = sum(self.all[place].words.endswith("occupied") for place in chosen)
        return len(chosen), trains, sorted(chosen)

    def fits(self, chosen: frozenset[int]) -> bool:
        """Return whether these can be together: of one thing there is one."""
        about = [self.all[place].about for place in chosen]
        return len(set(about)) == len(about)

    def stirs(self, chosen: frozenset[int]) -> bool:
        """Return whether a set leads to anything that no set without one of its things does."""
        trial = self.trial(chosen)
        parts = [self._tried.get(chosen - {place}) for place in chosen]
        return trial is not None and all(part is None or part.picture != trial.picture for part in parts)

    def run(self) -> None:
        """Try single things, then pairs, then three at once."""
        nothing = frozenset[int]()
        self.take(nothing)
        level = [frozenset((place,)) for place in range(len(self.all))]
        for size in range(1, AT_ONCE + 1):
            for chosen in level:
                self.take(chosen)
            if not self.open or self._left <= 0 or size == AT_ONCE:
                break
            level = self._larger(level, every=size == 1)
        for goal in self.open[:1]:
            self._left = max(self._left, BUDGET // CLIMBING // max(len(self._near.devices), 1))
            dead_ends = frozenset[int]()
            for _climb in range(CLIMBS):
                first = self._climb(goal, dead_ends)
                if first is None:
                    break
                dead_ends |= {first}

    def _larger(self, level: list[frozenset[int]], *, every: bool) -> list[frozenset[int]]:
        """Return the sets with one thing more; first those that grow out of sets that lead to something."""
        stirring = [chosen for chosen in level if self.stirs(chosen)]
        places = range(len(self.all))
        larger = dict.fromkeys(chosen | {place} for chosen in stirring for place in places)
        if every:
            larger |= dict.fromkeys(frozenset(pair) for pair in combinations(places, 2))
        wanted = len(level[0]) + 1 if level else 0
        return [each for each in larger if len(each) == wanted and self.fits(each)]

    def _climb(self, goal: str, dead_ends: frozenset[int]) -> int | None:
        """Look for one larger set: each thing has to lead on, and what is not needed is left out in the end.

        Args:
            goal: the aspect that is to be reached.
            dead_ends: what has been begun with in vain, and is not taken any more.

        Returns:
            What it began with, where that was in vain; None where it was not, or where there is nothing else.
        """
        found = [chosen for sets in self.found.values() for chosen, _after in sets]
        chosen = min(found, key=len, default=frozenset[int]())
        first: int | None = None
        while len(chosen) < AT_MOST:
            before = self.trial(chosen)
            step = None if before is None else self._next(chosen, before, goal, dead_ends)
            if step is None:
                break
            first = step if first is None else first
            chosen |= {step}
            if goal in self.better(chosen):
                self._shrink(chosen, goal)
                return None
        return first

    def _next(
        self, chosen: frozenset[int], before: Trial, goal: str, dead_ends: frozenset[int]
    ) -> int | None:
        """Return what to take next: what reaches the goal, or else what changes the reason, or else anything near."""
        changed = None
        for place in range(len(self.all)):
            more = chosen | {place}
            if place in chosen or place in dead_ends or not self.fits(more):
                continue
            trial = self.trial(more)
            if trial is None:
                return None
            if goal in self.better(more):
                return place
            last, was = trial.stages[-1].choice, before.stages[-1].choice
            worse = self.ranks.get(last.aspect, 0) < self.ranks.get(was.aspect, 0)
            if last.reason != was.reason and not worse and not self._seen_reason(trial, chosen):
                return place
            if changed is None and trial.picture != before.picture and not worse:
                changed = place
        return changed

    def _seen_reason(self, trial: Trial, chosen: frozenset[int]) -> bool:
        """Return whether the reason at which this arrives was there already on the way."""
        reason = trial.stages[-1].choice.reason
        order = sorted(chosen)
        ways = (self._tried.get(frozenset(order[:size])) for size in range(len(order)))
        return any(way is not None and way.stages[-1].choice.reason == reason for way in ways)

    def _shrink(self, chosen: frozenset[int], aspect: str) -> None:
        after = self.better(chosen)[aspect]
        for place in sorted(chosen, reverse=True):
            less = self.better(chosen - {place})
            if aspect in less:
                chosen, after = chosen - {place}, less[aspect]
        self.found[aspect] = [(chosen, after)]

    def confirmed(self, chosen: frozenset[int], aspect: str) -> bool:
        """Return whether the whole layout does the same, where only the part near it was tried."""
        if self.whole is None:
            return True
        stages = self.whole.tell(self.steps(chosen), self._wait).stages
        return any(stage.choice.aspect == aspect for stage in stages)


def what_it_needed(engine: Engine, name: str) -> Found:
    """Return what would have made a thing show better, or otherwise where nothing is better.

    Args:
        engine: in the state of the moment that was asked about; it stays as it is.
        name: a device, a zone or a crossing.
    """
    lost = next((each.lost for each in devices_of(engine.layout) if each.name == name), "")
    if lost:
        return Found((), (f"it shows nothing else before that is put right: {lost}",), ())
    search = _Search(engine, name)
    if not search.targets:
        return Found((), (f"it showed {engine.asked.state_of(name).aspect}, and it has nothing better",), ())
    search.run()
    search.drop_what_does_less()
    needed: list[Needed] = []
    sets: list[tuple[Candidate, ...]] = []
    for aspect in search.targets:
        for chosen, after in sorted(search.found.get(aspect, []), key=search.plainness)[:PER_ASPECT]:
            if search.confirmed(chosen, aspect):
                own = tuple(search.all[place] for place in sorted(chosen))
                needed.append(Needed(aspect, tuple(each.words for each in own), after, len(own) > AT_ONCE))
                sets.append(own)
    reached = {each.aspect for each in needed}
    return Found(tuple(needed), tuple(_impossible(engine, name, search, reached)), tuple(sets))


def _impossible(engine: Engine, name: str, search: _Search, reached: set[str]) -> Iterator[str]:
    signal = next((each for each in engine.layout.signals if each.name == name), None)
    if signal is None:
        if not reached:
            yield f"nothing was found that would have changed it: {len(search.all)} things were tried"
        return
    never = [each for each in search.targets if each not in reached and each not in search.open]
    if never:
        yield f"nothing in the layout file asks it to show {either(never)}"
    others = [each for each in search.targets if each not in reached and each in search.open]
    if others:
        tried = f"{search.trials} trials with {len(search.all)} things that it goes by"
        yield f"{either(others)}: nothing that was tried would have done ({tried})"
