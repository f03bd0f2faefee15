"""What the adapters that are installed say of a layout file."""

from __future__ import annotations

from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters
from tests.support.layouts import changed


def found(old: str, new: str) -> list[str]:
    """Return the errors that are found in the sound layout with one passage changed."""
    lines = look_at_text("f", changed(old, new).encode(), Adapters()).lines()
    return [line for line in lines if ": error: " in line]


def test_a_key_that_a_source_does_not_know_is_told_with_all_that_it_knows() -> None:
    """The keys of the adapter stand in the list, and with them those that every source has."""
    assert ["f:6:21: error: no key 'topic' belongs here; use one of: kind, repeat-window, root"] == found(
        "{kind: mqtt, repeat-window: 500 ms}", "{kind: mqtt, topic: layout}"
    )


def test_an_adapter_that_is_not_installed_is_told() -> None:
    """A source or an output of an unknown kind is an error where it is named."""
    assert ["f:6:15: error: no event source is called 'bus'; there is only mqtt"] == found(
        "{kind: mqtt, repeat-window: 500 ms}", "{kind: bus}"
    )
    [line] = found("  tarn:\n", "  tarn:\n    output: serial\n")
    assert line.endswith("error: no output is called 'serial'; there is only mqtt")
