"""What shows the road how a crossing stands: posts with lights, the arms of gates, signs for a second train.

Each is a signal that is told by its crossing, so it may stand anywhere on any chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from bridge.layout.aspects import give_to_heads, use_heads
from bridge.layout.controls import CrossingShows
from bridge.layout.crossings import RED, Phase
from bridge.layout.devices import Fixtures, find_fixture
from bridge.layout.entries import Desk
from bridge.layout.findings import Mark, choice, either, said
from bridge.layout.model import DARK, AspectRow, Fixture, Flash, LampKind, Shown, Signal
from bridge.layout.routes import Locking, Refused
from bridge.layout.rules.book import RuleRow
from bridge.layout.rules.crossings import AMBER, LIT, PLACES, STOP, CrossingRules
from bridge.layout.schema_track import CrossingEntry, PostEntry
from bridge.layout.shown import read_change
from bridge.layout.tables import KEYS, read_table
from bridge.layout.text import Path
from bridge.layout.units import FULL_LEVEL

FREE: Locking = Locking((), 0, 0, Refused.HOLD, reclear=False)
"""A post locks nothing."""


class _Kind(NamedTuple):
    """One kind of thing that shows something.

    Attributes:
        called: its word for a message.
        rows: its aspects beside dark, the most restrictive first; None where all of its lamps are lit.
        shows: the aspect for each phase of the crossing, or for whether a second train is coming.
        another: whether it is about that.
    """

    called: str
    rows: dict[str, RuleRow | None]
    shows: dict[str, str]
    another: bool = False

    def order(self) -> tuple[str, ...]:
        """Return the names of its aspects, the most restrictive first. Nobody is to wait for a second train in vain."""
        return (DARK, *self.rows) if self.another else (*self.rows, DARK)


def read_posts(
    desk: Desk,
    crossing: str,
    entry: CrossingEntry,
    rules: CrossingRules,
    rate: int,
    fixtures: Fixtures,
    path: Path,
) -> list[Signal]:
    """Read all that shows how a crossing stands; what has an error is left out, and noted."""
    found = []
    for section, kind, posts in _kinds(entry, rules):
        for name, data in posts.items():
            where = (*path, section, name)
            post = desk.entry(PostEntry, {} if data is None else data, where)
            if post is None:
                continue
            said_at = (*where, "fixture") if post.fixture is not None else None
            fixture = find_fixture(desk, post.fixture or name, where, fixtures, said_at)
            fixture = use_heads(desk, post, fixture, where)
            aspects = None if fixture is None else _aspects(desk, post, kind, fixture, where)
            change = read_change(desk, post.change, (*where, "change"))
            if fixture is None or aspects is None or change is None:
                continue
            mark = desk.key_mark(where)
            # A post of its own kind that knows nothing of steady lights shows its red ones instead.
            has = [row.name for row in aspects]
            shows = {
                state: aspect if aspect in has else aspects[0].name for state, aspect in kind.shows.items()
            }
            found.append(
                Signal(
                    name=name,
                    fixture=fixture.name,
                    aspects=aspects,
                    sequence=(),
                    controls=(CrossingShows(crossing, kind.another, shows, mark),),
                    dark_under="",
                    lit_by=(),
                    routes=(),
                    locking=FREE,
                    restores=False,
                    change=change,
                    mark=mark,
                    heads=tuple(head.name for head in fixture.heads),
                    flash=Flash(rate),
                    lost=fixture.lost,
                )
            )
    return found


def _kinds(entry: CrossingEntry, rules: CrossingRules) -> Iterator[tuple[str, _Kind, dict[str, Any]]]:
    lights: dict[str, RuleRow | None] = {STOP: rules.stop}
    shows = {phase.value: STOP if phase in RED else DARK for phase in Phase}
    if rules.amber is not None:
        lights[AMBER] = rules.amber
        shows[Phase.AMBER.value] = AMBER
    yield "posts", _Kind("post", lights, shows), entry.posts
    arm = {phase.value: LIT if phase in rules.arm_lit else DARK for phase in Phase}
    yield "arms", _Kind("arm", {LIT: rules.arm}, arm), entry.arms
    sign = {"yes": LIT, "no": DARK}
    yield "signs", _Kind("sign", {LIT: None}, sign, another=True), entry.signs


def _aspects(
    desk: Desk, entry: PostEntry, kind: _Kind, fixture: Fixture, path: Path
) -> tuple[AspectRow, ...] | None:
    """Return what a post shows, the most restrictive first: its own aspects, or those of the rules."""
    mark = desk.key_mark(path)
    own: dict[str, AspectRow] = {}
    if entry.aspects is not None:
        read = _own(desk, entry.aspects, kind, fixture, (*path, "aspects"))
        if read is None:
            return None
        own = {row.name: row for row in read}
    elif len(fixture.heads) > 1 and any(row is not None for row in kind.rows.values()):
        heads = ", ".join(head.name for head in fixture.heads)
        desk.key_error(
            path,
            f"{fixture.name} has the heads {heads}: say with `heads` which is meant, or with `aspects` what each shows",
        )
        return None
    if not own and not _fits(desk, kind, fixture, mark):
        return None
    names = [name for name in kind.order() if not own or name in own or name == DARK]
    return tuple(own.get(name) or _by_rule(name, kind.rows.get(name), fixture, mark) for name in names)


def _fits(desk: Desk, kind: _Kind, fixture: Fixture, mark: Mark) -> bool:
    """Return whether a fixture has the lamps that the rules name, each of a known colour, and note it if not."""
    asked = {each.word: None for row in kind.rows.values() if row for [form] in row.forms() for each in form}
    lamps = {lamp.name: lamp for head in fixture.heads for lamp in head.lamps}
    missing = [word for word in asked if word in PLACES and word not in lamps]
    any_colour = [
        lamp.name
        for lamp in lamps.values()
        if lamp.kind is LampKind.FULL_COLOUR and not lamp.colour and (not asked or lamp.name in asked)
    ]
    if missing:
        text = f"it has no lamp {either(missing)}: call its lamps so, or say with `aspects` what it shows"
    elif any_colour and not kind.another:
        text = f"its lamp {any_colour[0]} can show any colour: say in its build which, such as `colour: red`"
    else:
        return True
    desk.error_at(mark, f"{fixture.name} cannot be the {kind.called} of a crossing: {text}")
    return False


def _by_rule(name: str, rule: RuleRow | None, fixture: Fixture, mark: Mark) -> AspectRow:
    if name == DARK:
        words: dict[str, tuple[Shown, ...]] = {head.name: () for head in fixture.heads}
    elif rule is None:
        words = {
            head.name: tuple(
                Shown(lamp.name, FULL_LEVEL, mark) for lamp in head.lamps if lamp.kind is not LampKind.MIX
            )
            for head in fixture.heads
        }
    else:
        [[form]] = rule.forms()
        lit = tuple(Shown(each.word, FULL_LEVEL, mark, each.flashing, each.alternating) for each in form)
        words = {fixture.heads[0].name: lit}
    return AspectRow(name, tuple(words.items()), mark, required=True)


def _own(desk: Desk, data: Any, kind: _Kind, fixture: Fixture, path: Path) -> tuple[AspectRow, ...] | None:
    names = kind.order()
    sound = True
    for key in data if isinstance(data, dict) else ():
        if key in KEYS or key not in names:
            desk.key_error(
                (*path, key), f"no aspect of this {kind.called} is called {said(key)}; {choice(key, names)}"
            )
            sound = False
    if not sound:
        return None
    table = read_table(desk, data, path, {}, required=True)
    if table is None:
        return None
    main = next(iter(kind.rows))
    if main not in table.names:
        desk.key_error(path, f"say also what it shows for {main}")
        return None
    return give_to_heads(desk, table, fixture)
