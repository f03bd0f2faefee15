"""Gather the findings that each room offers about a layout."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.check.advice import advice
from bridge.check.wiring import has_plans, once_built
from bridge.engine import look_at
from bridge.layout import Finding, Layout
from bridge.layout.findings import errors, in_order
from bridge.layout.read import read_what_can_be


@dataclass(frozen=True, slots=True)
class Checked:
    """A layout file that was looked at.

    Attributes:
        layout: what it describes, or None where it cannot be driven.
        findings: everything found, in the order of the file.
        planned: what it will describe once all that is planned is built; None where that cannot be driven, or where
            nothing is planned.
    """

    layout: Layout | None
    findings: tuple[Finding, ...]
    planned: Layout | None = None


def check_text(text: str) -> Checked:
    """Read a layout file and have every room look at it, also at what is sound beside an error."""
    now = _look(text, as_planned=False)
    if now.layout is None or not has_plans(now.layout):
        return now
    # What is wrong with a plan is no error yet: the layout runs without it.
    then = _look(text, as_planned=True)
    return Checked(
        now.layout, in_order((*now.findings, *once_built(now.findings, then.findings))), then.layout
    )


def _look(text: str, *, as_planned: bool) -> Checked:
    layout, findings = read_what_can_be(text, as_planned=as_planned)
    if layout is None:
        return Checked(None, findings)
    found = in_order((*findings, *look_at(layout)))
    if errors(found):
        return Checked(None, found)
    return Checked(layout, in_order((*found, *advice(layout))))
