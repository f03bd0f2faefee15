"""The only writer of the layout file: edits as plain data in, the text with just those lines changed out.

What an edit does to the data is worked out beside what it does to the text, and the text is read again: one that says
anything else than it should never leaves this room.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from difflib import unified_diff
from typing import Any, TypeAlias

from bridge.errors import LayoutError
from bridge.layout.findings import choice, errors, said
from bridge.layout.read import read_what_can_be
from bridge.layout.source_text import BY_HAND, Change, Changes, SourceText, Value
from bridge.layout.text import Path, parse


@dataclass(frozen=True, slots=True)
class AtFixture:
    """The entry of a fixture in the list of its chain."""

    name: str


@dataclass(frozen=True, slots=True)
class AtChain:
    """The entry of a chain."""

    node: str
    chain: str


@dataclass(frozen=True, slots=True)
class AtLamp:
    """A lamp of a build; `head` is empty where the build has only one."""

    build: str
    head: str
    lamp: str


Place: TypeAlias = AtFixture | AtChain | AtLamp


@dataclass(frozen=True, slots=True)
class SetKey:
    """Give a key a value, whether it is there already or not."""

    place: Place
    key: str
    value: Value


@dataclass(frozen=True, slots=True)
class RemoveKey:
    """Take a key away."""

    place: Place
    key: str


@dataclass(frozen=True, slots=True)
class SetOrder:
    """Say in which order the bytes of one chip of a fixture arrive; chips are counted from 1."""

    fixture: str
    chip: int
    order: str


@dataclass(frozen=True, slots=True)
class SetTypeOrder:
    """Say in which order the bytes of all chips of one type arrive on a chain."""

    node: str
    chain: str
    chip: str
    order: str


@dataclass(frozen=True, slots=True)
class MoveFixture:
    """Move a fixture to the place right before or right behind another one, on whichever chain that is."""

    name: str
    beside: str
    before: bool = False


@dataclass(frozen=True, slots=True)
class InsertFixture:
    """Put a new fixture right before or right behind another one, with these keys, `name` among them."""

    keys: tuple[tuple[str, Value], ...]
    beside: str
    before: bool = False


@dataclass(frozen=True, slots=True)
class RemoveFixture:
    """Take a fixture out of its chain."""

    name: str


@dataclass(frozen=True, slots=True)
class SortChain:
    """Put all fixtures of a chain into another order."""

    node: str
    chain: str
    names: tuple[str, ...]


Edit: TypeAlias = (
    SetKey | RemoveKey | SetOrder | SetTypeOrder | MoveFixture | InsertFixture | RemoveFixture | SortChain
)


def apply(text: str, edits: Iterable[Edit]) -> str:
    """Return a layout file after some edits, one after the other; no other line is touched.

    Raises:
        LayoutError: an edit does not fit the file, or the file would have errors that it has not had.
    """
    document = parse(text)
    if not isinstance(document.data, dict):
        raise LayoutError("the file cannot be read as a layout, so nothing in it can be changed")
    editing = _Editing(text, deepcopy(document.data))
    for edit in edits:
        editing.do(edit)
    changed = editing.text()
    if changed == text:
        return text
    again = parse(changed)
    if again.data != editing.data or len(again.findings) > len(document.findings):
        raise LayoutError(BY_HAND)
    new = _new_errors(text, changed)
    if new:
        raise LayoutError(f"the change would make an error: {new[0]}")
    return changed


def differences(before: str, after: str, name: str) -> list[str]:
    """Return what differs between two texts of a file, as the lines of a unified diff."""
    old, new = before.splitlines(), after.splitlines()
    return list(unified_diff(old, new, name, f"{name} (changed)", n=2, lineterm=""))


def _new_errors(before: str, after: str) -> tuple[str, ...]:
    had = {found.message for found in errors(read_what_can_be(before)[1])}
    found = errors(read_what_can_be(after)[1])
    return tuple(f"line {each.mark.line}: {each.message}" for each in found if each.message not in had)


class _Editing:
    """Edits of a text and of its data, side by side.

    Those that only set keys, each of another entry, are gathered and made at once: so a large file is taken apart once.

    Attributes:
        data: what the text says when all edits are made.
    """

    def __init__(self, text: str, data: dict[str, Any]) -> None:
        self.data = data
        self._source = SourceText(text)
        # A last line without its end would be no line like the others.
        self._bare = not text.endswith(("\n", "\r"))
        if self._bare:
            self._source = SourceText(text + self._source.eol)
        self._gathered: list[Change] = []
        self._touched: set[Path] = set()

    def text(self) -> str:
        """Return the text after all edits."""
        text = self._source.changed(tuple(self._gathered))
        return text.removesuffix(self._source.eol) if self._bare else text

    def do(self, edit: Edit) -> None:
        """Make one edit, or gather it."""
        match edit:
            case SetKey(place, key, value):
                path = self._entry(self._place(place))
                self._gathered += self._set(path, key, value)
            case RemoveKey(place, key):
                path = self._entry(self._place(place))
                self._gathered += self._remove_key(path, key)
            case SetOrder(fixture, chip, order):
                path = self._entry(self._fixture(fixture))
                self._gathered += self._order(path, chip, order)
            case SetTypeOrder(node, chain, chip, order):
                path = self._entry(self._chain(node, chain))
                self._gathered += self._type_order(path, chip, order)
            case _:
                self._make()
                self._gathered += self._rewire(edit)
                self._make()

    def _rewire(self, edit: MoveFixture | InsertFixture | RemoveFixture | SortChain) -> Changes:
        match edit:
            case MoveFixture(name, beside, before):
                return self._move(name, beside, before=before)
            case InsertFixture(keys, beside, before):
                return self._insert(keys, beside, before=before)
            case RemoveFixture(name):
                return self._remove(name)
            case SortChain(node, chain, names):
                return self._sort(node, chain, names)

    def _entry(self, path: Path) -> Path:
        """Return an entry of which a key is set now; the text knows of what was set there before."""
        if path in self._touched:
            self._make()
        self._touched.add(path)
        return path

    def _make(self) -> None:
        if self._gathered:
            self._source = SourceText(self._source.changed(tuple(self._gathered)))
        self._gathered.clear()
        self._touched.clear()

    # ---- keys ----------------------------------------------------------------------------------------------

    def _set(self, path: Path, key: str, value: Value) -> Changes:
        mapping = self._at(path)
        if not isinstance(mapping, dict) or not mapping:
            raise LayoutError(BY_HAND)
        mapping[key] = _plain(value)
        # The list of what hangs on a chain is long: what is said of the chain stands above it, and is seen.
        return self._source.set_key(path, key, value, behind="name" if "fixtures" in mapping else "")

    def _remove_key(self, path: Path, key: str) -> Changes:
        mapping = self._at(path)
        if key not in mapping:
            raise LayoutError(f"there is no key {said(key)} to take away; {choice(key, mapping)}")
        del mapping[key]
        return self._source.remove_key(path, key)

    def _order(self, path: Path, chip: int, order: str) -> Changes:
        fixture = self._at(path)
        build = self._at(("builds",)).get(str(fixture.get("build")))
        chips = len(build["chips"]) if isinstance(build, dict) and isinstance(build.get("chips"), list) else 0
        if not 1 <= chip <= chips:
            raise LayoutError(f"{_name(fixture)} has no chip {chip}: its build has {chips}")
        if chips == 1:
            return self._set(path, "order", order)
        now = fixture.get("order")
        orders = list(now) if isinstance(now, list) and len(now) == chips else [now] * chips
        orders[chip - 1] = order
        return self._set(path, "order", orders)

    def _type_order(self, path: Path, chip: str, order: str) -> Changes:
        chain = self._at(path)
        if chain.get("order"):
            chain["order"][chip] = order
            return self._source.set_key((*path, "order"), chip, order)
        chain["order"] = {chip: order}
        return self._source.set_key(path, "order", {chip: order}, behind="name")

    # ---- fixtures --------------------------------------------------------------------------------------------

    def _move(self, name: str, beside: str, *, before: bool) -> Changes:
        (*home, index), (*away, place) = self._fixture(name), self._fixture(beside)
        if name == beside:
            raise LayoutError(f"{name} cannot stand beside itself")
        place = int(place) + (not before)
        own, others = self._at(tuple(home)), self._at(tuple(away))
        if home == away:
            order = [each for each in range(len(own)) if each != index]
            order.insert(place - (place > int(index)), int(index))
            if self._source.node(tuple(home)).flow_style:
                return self._sorted(tuple(home), order)
        self._keep_one(own, tuple(home))
        fixture = own.pop(index)
        others.insert(place - (home == away and place > int(index)), fixture)
        return self._source.move(tuple(home), int(index), tuple(away), place)

    def _insert(self, keys: tuple[tuple[str, Value], ...], beside: str, *, before: bool) -> Changes:
        *home, index = self._fixture(beside)
        place = int(index) + (not before)
        entry = {key: _plain(value) for key, value in keys}
        self._at(tuple(home)).insert(place, entry)
        return self._source.insert(tuple(home), place, keys, int(index))

    def _remove(self, name: str) -> Changes:
        *home, index = self._fixture(name)
        own = self._at(tuple(home))
        self._keep_one(own, tuple(home))
        del own[index]
        return self._source.remove(tuple(home), int(index))

    def _keep_one(self, fixtures: list[Any], home: Path) -> None:
        if len(fixtures) == 1:
            chain = self._at(home[:-1]).get("name")
            raise LayoutError(
                f"it is the only fixture of {home[1]}/{chain}: take the chain out by hand instead"
            )

    def _sort(self, node: str, chain: str, names: tuple[str, ...]) -> Changes:
        path = (*self._place(AtChain(node, chain)), "fixtures")
        now = [_name(each) for each in self._at(path)]
        if sorted(now) != sorted(names):
            raise LayoutError(f"{node}/{chain} has the fixtures {', '.join(now)}: name each of them once")
        return self._sorted(path, [now.index(name) for name in names])

    def _sorted(self, path: Path, order: list[int]) -> Changes:
        fixtures = self._at(path)
        fixtures[:] = [fixtures[index] for index in order]
        return self._source.sort(path, order)

    # ---- places ----------------------------------------------------------------------------------------------

    def _at(self, path: Path) -> Any:
        value: Any = self.data
        for step in path:
            value = value[step]
        return value

    def _place(self, place: Place) -> Path:
        match place:
            case AtFixture(name):
                return self._fixture(name)
            case AtChain(node, chain):
                return self._chain(node, chain)
            case AtLamp(build, head, lamp):
                return self._below("builds", build, *(("heads", head) if head else ("lamps",)), lamp)

    def _chain(self, node: str, chain: str) -> Path:
        chains = {f"{path[1]}/{_name(each)}": path for path, each in self._chains()}
        key = f"{node}/{chain}"
        if key not in chains:
            raise LayoutError(f"no chain is called {said(key)}; {choice(key, chains)}")
        return chains[key]

    def _below(self, *path: str) -> Path:
        value: Any = self.data
        for step in path:
            if not isinstance(value, dict) or step not in value:
                known = value if isinstance(value, dict) else ()
                raise LayoutError(f"there is no {said(step)} in {'.'.join(path)}; {choice(step, known)}")
            value = value[step]
        return path

    def _fixture(self, name: str) -> Path:
        found: dict[str, list[Path]] = {}
        for path, chain in self._chains():
            fixtures = chain.get("fixtures")
            for index, each in enumerate(fixtures if isinstance(fixtures, list) else ()):
                found.setdefault(_name(each), []).append((*path, "fixtures", index))
        if len(found.get(name, ())) != 1:
            what = "several fixtures are" if name in found else "no fixture is"
            raise LayoutError(f"{what} called {said(name)}; {choice(name, found)}")
        return found[name][0]

    def _chains(self) -> Iterator[tuple[Path, dict[str, Any]]]:
        nodes = self.data.get("nodes")
        for node, entry in nodes.items() if isinstance(nodes, dict) else ():
            chains = entry.get("chains") if isinstance(entry, dict) else None
            for index, chain in enumerate(chains if isinstance(chains, list) else ()):
                if isinstance(chain, dict):
                    yield ("nodes", node, "chains", index), chain


def _plain(value: Value) -> Any:
    """Return a value as it is read from a file."""
    return value if isinstance(value, bool | int | str | dict | None) else list(value)


def _name(entry: Any) -> str:
    return str(entry.get("name")) if isinstance(entry, dict) else ""
