"""Validate one entry at a time, and turn what pydantic says into sentences for the owner."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from types import NoneType
from typing import Any, Final, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from bridge.layout.findings import Finding, Mark, choice, error, said
from bridge.layout.text import Document, Path
from bridge.layout.units import name

Model = TypeVar("Model", bound=BaseModel)

_PLAIN: Final = re.compile(r"[\w-]{1,40}")
"""Words that stand for themselves inside a list."""


class Desk:
    """The document on the desk and the findings written beside it, shared by everyone who reads it.

    Attributes:
        document: what is read.
        findings: what was found so far.
        unread: sections of which some names could not be read: nobody is blamed for a name that is not there.
        lamp_names: everything that is called a lamp, also in a build that has an error.
    """

    def __init__(self, document: Document) -> None:
        self.document = document
        self.lamp_names = frozenset(_lamp_names(document.data))
        self.findings: list[Finding] = list(document.findings)
        self.unread: set[str | int] = set(document.repeated)

    def error(self, path: Path, message: str) -> None:
        """Note an error at a value."""
        self.findings.append(error(self.document.at(path), message))

    def key_error(self, path: Path, message: str) -> None:
        """Note an error at the key that leads to a value."""
        self.findings.append(error(self.document.key_at(path), message))

    def error_at(self, mark: Mark, message: str) -> None:
        """Note an error at a place."""
        self.findings.append(error(mark, message))

    def mark(self, path: Path) -> Mark:
        """Return the place of a value."""
        return self.document.at(path)

    def key_mark(self, path: Path) -> Mark:
        """Return the place of the key that leads to a value."""
        return self.document.key_at(path)

    def section(self, section: str) -> Iterator[tuple[str, Any, Path]]:
        """Go through the named entries of a section of the file, and note keys that cannot be names."""
        data = self.document.data.get(section)
        if data is None:
            return
        if not isinstance(data, dict):
            self.error((section,), f"{section} must be a mapping: a name and a colon for each entry")
            self.unread.add(section)
            return
        for key, value in data.items():
            self.named(key, (section, key))
            yield key, value, (section, key)

    def named(self, key: str, path: Path) -> bool:
        """Return whether the key that leads to a value can be a name, and note it if it cannot."""
        try:
            name(key)
        except ValueError as problem:
            self.key_error(path, str(problem))
            return False
        return True

    def entry(self, model: type[Model], data: Any, path: Path, *, also: Sequence[str] = ()) -> Model | None:
        """Validate one entry; None if it has errors, which are then noted.

        Args:
            model: what it has to be.
            data: what stands in the file.
            path: where it stands.
            also: keys that belong to the entry beside those of the model, read by somebody else.
        """
        try:
            return model.model_validate(data)
        except ValidationError as problem:
            found = problem.errors(include_url=False)
            unknown = [each["loc"] for each in found if each["type"] == "extra_forbidden"]
            told = self._too_little_indent(data, path, unknown)
            told |= {
                each["loc"]
                for each in found
                if each["type"] == "too_short" and _is_around(each["loc"], found)
            }
            for each in found:
                if each["loc"] not in told:
                    self._say(model, path, dict(each), also)
            return None

    def _too_little_indent(self, data: Any, base: Path, unknown: list[Path]) -> frozenset[Path]:
        """Note every key with nothing below it that strangers follow; return the places that are told with it."""
        told: list[Path] = []
        for around in dict.fromkeys(place[:-1] for place in unknown):
            empty: Path | None = None
            inside = data
            for step in around:
                inside = inside[step]
            for key, value in inside.items():
                place = (*around, key)
                if place not in unknown:
                    empty = place if value is None else None
                elif empty is not None:
                    if empty not in told:
                        line = self.key_mark((*base, *place)).line
                        self.key_error((*base, *empty), nothing_below(empty[-1], line))
                    told += [place, empty]
        return frozenset(told)

    def _say(self, model: type[BaseModel], base: Path, problem: dict[str, Any], also: Sequence[str]) -> None:
        where: tuple[Any, ...] = problem["loc"]
        kind: str = problem["type"]
        if kind == "extra_forbidden":
            key = where[-1]
            keys = [*(also if len(where) == 1 else ()), *_keys(model, where)]
            self.key_error((*base, *where), f"no key {said(key)} belongs here; {choice(key, keys)}")
        elif where and where[-1] == "[key]":
            self.key_error((*base, *where[:-1]), _plain(problem))
        elif kind == "missing":
            self.error((*base, *where[:-1]), f"the key {where[-1]!r} is missing here")
        else:
            self.error((*base, *where), _plain(problem))


def _is_around(place: tuple[Any, ...], found: Sequence[Any]) -> bool:
    """Return whether something else was found further inside: a list is then too short for that reason only."""
    return any(len(each["loc"]) > len(place) and each["loc"][: len(place)] == place for each in found)


def nothing_below(key: object, line: int) -> str:
    """Return the message for a key whose entries stand beside it and not below it, from `line` on."""
    return (
        f"nothing belongs to {said(key)}: indent line {line}, and what goes with it, further than this line"
    )


def _lamp_names(data: Any) -> Iterator[str]:
    builds = data.get("builds") if isinstance(data, dict) else None
    for build in builds.values() if isinstance(builds, dict) else ():
        if not isinstance(build, dict):
            continue
        heads = build.get("heads")
        for lamps in (build.get("lamps"), *(heads.values() if isinstance(heads, dict) else ())):
            yield from lamps if isinstance(lamps, dict) else ()


def _plain(problem: dict[str, Any]) -> str:
    kind: str = problem["type"]
    given = problem.get("input")
    if kind == "value_error":
        return str(problem["ctx"]["error"])
    if kind in ("too_short", "too_long"):
        least, most = problem["ctx"].get("min_length"), problem["ctx"].get("max_length")
        if not least:
            return f"too many stand here: {most} are allowed"
        if least > 1:
            return f"too few stand here: at least {least} are needed"
        return "nothing stands here: at least one is needed"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"{said(given)} does not fit: a mapping is needed, with a key and a colon for each value"
    if kind in ("tuple_type", "list_type"):
        example = given if isinstance(given, str) and _PLAIN.fullmatch(given) else "a, b"
        return f"{said(given)} does not fit: a list is needed, such as [{example}]"
    if kind == "string_type":
        return f"{said(given)} does not fit: text is needed; a number or true and false become text in quotes"
    return f"{said(given)} does not fit: {problem['msg']}"


def _keys(model: type[BaseModel], where: tuple[Any, ...]) -> list[str]:
    """Return the keys that the entry has to which `where` leads; its last step is the key that nobody knows."""
    inside: Any = model
    for step in where[:-1]:
        inside = _step(inside, step)
    return [field.alias or own for own, field in _entry(inside).model_fields.items()]


def _step(annotation: Any, step: Any) -> Any:
    """Return the type of what lies under a key or an index."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        fields = annotation.model_fields.items()
        return next(field.annotation for own, field in fields if step in (own, field.alias))
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is dict:
        return inner[1]
    if origin is tuple:
        return inner[0]
    return _step(_without_none(annotation), step)


def _without_none(annotation: Any) -> Any:
    """Return what an optional or annotated type stands for."""
    inner = [each for each in get_args(annotation) if each is not NoneType]
    return inner[0]


def _entry(annotation: Any) -> type[BaseModel]:
    while not (isinstance(annotation, type) and issubclass(annotation, BaseModel)):
        annotation = _without_none(annotation)
    return annotation
