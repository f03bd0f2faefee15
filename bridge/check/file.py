"""Gather the findings that each room offers about a layout."""

from __future__ import annotations

from dataclasses import dataclass

from bridge.check.advice import advice
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
    """

    layout: Layout | None
    findings: tuple[Finding, ...]


def check_text(text: str) -> Checked:
    """Read a layout file and have every room look at it, also at what is sound beside an error."""
    layout, findings = read_what_can_be(text)
    if layout is None:
        return Checked(None, findings)
    found = in_order((*findings, *look_at(layout)))
    if errors(found):
        return Checked(None, found)
    return Checked(layout, in_order((*found, *advice(layout))))
