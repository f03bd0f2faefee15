"""Reading a layout file from the disk, and everything that can be found in it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from bridge.check import check_text
from bridge.check.wiring import has_plans, once_built
from bridge.errors import LamproomError, LayoutError
from bridge.layout import Finding, Layout
from bridge.layout.findings import errors, in_order, warning
from bridge.layout.read import read_what_can_be
from bridge.layout.text import parse
from bridge.service.address import password_path, read_password
from bridge.service.plugins import Adapters, AtEnds


@dataclass(frozen=True, slots=True)
class LayoutFile:
    """A layout file that was read.

    Attributes:
        name: as its owner gave it.
        text: the whole file.
        layout: what it describes, or None where it cannot be driven.
        findings: everything found, in the order of the file.
        planned: what it will describe once all that is planned is built; None where that cannot be driven, or where
            nothing is planned.
        as_far: what can be driven all the same where nothing but outputs have errors, each with its `fault`; None
            where there are no such errors, where there are others, or where no other output has a chain.
    """

    name: str
    text: str
    layout: Layout | None
    findings: tuple[Finding, ...]
    planned: Layout | None = None
    as_far: Layout | None = None

    def lines(self) -> list[str]:
        """Return the findings as `check` prints them."""
        return [finding.line(self.name) for finding in self.findings]


def read_file(name: str, adapters: Adapters) -> LayoutFile:
    """Read a layout file and look at it.

    Raises:
        LayoutError: the file cannot be read at all.
    """
    try:
        data = Path(name).read_bytes()
    except OSError as problem:
        raise LayoutError(f"{name}: cannot be read: {problem.strerror}") from None
    return look_at_text(name, data, adapters)


def look_at_text(name: str, data: bytes, adapters: Adapters) -> LayoutFile:
    """Look at the bytes of a layout file.

    Raises:
        LayoutError: they are no text.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise LayoutError(f"{name}:{line}: this is not UTF-8 text: save the file as UTF-8") from None
    checked = check_text(text)
    if checked.layout is None:
        return LayoutFile(name, text, None, checked.findings)
    # A plan may have errors, and its chains are spoken of all the same where outputs are set up.
    plan = checked.planned
    if plan is None and has_plans(checked.layout):
        plan, _errors = read_what_can_be(text, as_planned=True)
    at_ends = adapters.look_at(checked.layout, text, plan)
    then = () if checked.planned is None else adapters.look_at(checked.planned, text).findings
    found = in_order(
        (
            *checked.findings,
            *at_ends.findings,
            *once_built(at_ends.findings, then),
            *_password_file(name, text, checked.layout),
        )
    )
    if errors(found):
        return LayoutFile(name, text, None, found, as_far=_as_far(checked.layout, at_ends, found))
    return LayoutFile(name, text, checked.layout, found, None if errors(then) else checked.planned)


def _as_far(layout: Layout, at_ends: AtEnds, found: tuple[Finding, ...]) -> Layout | None:
    """Return what can be driven without the outputs that have errors, if these are all errors that there are."""
    faults = at_ends.faults
    of_outputs = [each for each in errors(at_ends.findings) if each in at_ends.of_outputs]
    if len(of_outputs) < len(errors(found)) or all(chain.output in faults for chain in layout.chains):
        return None
    outputs = (
        replace(each, fault=faults[each.name].message) if each.name in faults else each
        for each in layout.outputs
    )
    return replace(layout, outputs=tuple(outputs))


def _password_file(name: str, text: str, layout: Layout) -> tuple[Finding, ...]:
    if not layout.broker.password_file:
        return ()
    try:
        read_password(password_path(name, layout.broker.password_file))
    except LamproomError as problem:
        # A warning: a service may be handed its password at the moment when it starts, and not before.
        return (warning(parse(text).at(("broker", "password-file")), str(problem)),)
    return ()
