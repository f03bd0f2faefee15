"""Validate one entry at a time, and turn what pydantic says into sentences for the owner."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from bridge.layout.findings import Finding, Mark, choice, error
from bridge.layout.text import Document, Path

Model = TypeVar("Model", bound=BaseModel)


class Desk:
    """The document on the desk and the findings written beside it, shared by everyone who reads it."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.findings: list[Finding] = list(document.findings)

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

    def section(self, name: str) -> Iterator[tuple[str, Any, Path]]:
        """Go through the named entries of a section of the file; a section that is no mapping is an error."""
        data = self.document.data.get(name)
        if data is None:
            return
        if not isinstance(data, dict):
            self.error((name,), f"{name} must be a mapping: one name and a colon for each entry")
            return
        for key, value in data.items():
            yield key, value, (name, key)

    def entry(self, model: type[Model], data: Any, path: Path) -> Model | None:
        """Validate one entry; None if it has errors, which are then noted."""
        try:
            return model.model_validate(data)
        except ValidationError as problem:
            for each in problem.errors(include_url=False):
                self._say(model, path, dict(each))
            return None

    def _say(self, model: type[BaseModel], base: Path, problem: dict[str, Any]) -> None:
        where: tuple[Any, ...] = problem["loc"]
        kind: str = problem["type"]
        if where and where[-1] == "[key]":
            self.key_error((*base, *where[:-1]), _plain(problem))
        elif kind == "extra_forbidden":
            allowed = _keys(model, where[:-1])
            self.key_error(
                (*base, *where), f"no key {where[-1]!r} belongs here; {choice(str(where[-1]), allowed)}"
            )
        elif kind == "missing":
            self.error((*base, *where[:-1]), f"the key {str(where[-1])!r} is missing here")
        else:
            self.error((*base, *where), _plain(problem))


def _plain(problem: dict[str, Any]) -> str:
    kind: str = problem["type"]
    if kind == "value_error":
        return str(problem["ctx"]["error"])
    given = problem.get("input")
    shown = "nothing" if given is None else repr(given) if not isinstance(given, dict | list) else "this"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"{shown} does not fit: a mapping is needed, with a key and a colon for each value"
    if kind in ("tuple_type", "list_type"):
        return f"{shown} does not fit: a list is needed"
    if kind in ("too_short", "too_long"):
        least, most = problem["ctx"].get("min_length"), problem["ctx"].get("max_length")
        return "nothing stands here: at least one is needed" if least else f"too many: {most} are allowed"
    if kind == "string_type":
        return f"{shown} does not fit: a word is needed"
    return f"{shown} does not fit: {problem['msg']}"


def _keys(model: type[BaseModel], where: tuple[Any, ...]) -> list[str]:
    """Return the keys of the entry that `where` leads to inside `model`."""
    current = model
    for step in where:
        for name, field in current.model_fields.items():
            if step in (name, field.alias):
                inner = list(_models(field.annotation))
                if inner:
                    current = inner[0]
                break
    return [field.alias or name for name, field in current.model_fields.items()]


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)
