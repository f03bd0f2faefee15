"""Whatever comes in at a source: events, or a refusal in words, and nothing else."""

from __future__ import annotations

from importlib.metadata import entry_points

import pytest

from adapters.testing.sources import decoded
from bridge.errors import DecodeError
from tests.support.any_input import entrances, sources

MANY = 4000


@pytest.mark.parametrize("kind", sources())
def test_any_input_is_events_or_a_refusal(kind: str) -> None:
    """Events are stamped and fit into the session log, a refusal is a short sentence. `python -m tests.bench inputs`
    does it a million times for each."""
    source, inputs, _bare = sources()[kind]
    found = [decoded(source, raw, 5) for raw in inputs(MANY, 1)]
    understood = sum(not isinstance(each, str) and bool(each) for each in found)
    assert MANY // 50 < understood < MANY  # else they would look into little of it
    assert any(isinstance(each, str) for each in found)


@pytest.mark.parametrize("what", sorted(set(entrances()) - set(sources())))
def test_whatever_a_node_says_is_understood_or_refused(what: str) -> None:
    """Acknowledgements and announcements."""
    entrance = entrances()[what]
    refused = 0
    for raw in entrance.inputs(MANY, 1):
        try:
            entrance.read(raw)
        except DecodeError:
            refused += 1
    assert 0 < refused < MANY


def test_no_source_is_left_out() -> None:
    """Whoever adds a source says what may come in there."""
    own = {
        point.name for point in entry_points(group="lamproom.events") if point.value.startswith("adapters.")
    }
    assert own == set(sources())
