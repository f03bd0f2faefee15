"""Why a device showed what it showed: planted causes are named, and what it would have needed is right."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest

from bridge.record.times import parse_moment
from bridge.record.why import Answer, answer_lines, why
from bridge.record.why.answer import Kind
from tests.support.planted import Planted, record
from tests.support.planted_cases import CASES

FAULTS: Final = frozenset(list(Kind)[: list(Kind).index(Kind.PRESSED)])
"""Causes that somebody would look into."""


def ask(planted: Planted, folder: Path) -> Answer:
    """Record the session of a case, and ask."""
    path = folder / "a.jsonl"
    record(planted, path)
    return why(path, planted.device, parse_moment(f"+{planted.at:.9f}"))


@pytest.mark.parametrize("planted", CASES, ids=lambda each: each.name)
def test_the_planted_cause_is_named(planted: Planted, tmp_path: Path) -> None:
    """Each planted cause is what is most to blame, and no fault is named beside it that is not part of it."""
    answer = ask(planted, tmp_path)
    assert planted.shows == answer.aspect, answer.reason
    if planted.cause is not None:
        first = answer.causes[0]
        assert planted.cause == (first.kind, first.name), answer.causes
        allowed = {planted.cause, *planted.with_it}
        assert {(each.kind, each.name) for each in answer.causes if each.kind in FAULTS} <= allowed
    if planted.passed is not None:
        assert planted.passed in {(each.kind, each.name) for each in answer.passed_over}, answer.passed_over
    else:
        assert not answer.passed_over
    if planted.row:
        line = next(row.line for row in answer.chain.rows if row.text == planted.row)
        assert planted.row.split(":")[-1].strip() in planted.layout.splitlines()[line - 1]
    if planted.needs is not None:
        sets = [(each.aspect, frozenset(each.things)) for each in answer.needed]
        assert planted.needs in sets, (sets, answer.impossible)
    if planted.impossible:
        assert planted.impossible in " ".join(answer.impossible)
    assert len(answer_lines(answer)) <= 30
