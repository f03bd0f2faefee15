"""What an input of a bus is can be asked without a layout file, and with one it is said what follows."""

from __future__ import annotations

import pytest

from bridge.errors import LamproomError
from bridge.layout.model import Layout
from bridge.service.plugins import Adapters
from bridge.service.trying import Tried, try_alone, try_message
from tests.support.driving import FERNHOLLOW, layout

PACKET = "81 F9 78 is a basic accessory packet: accessory 1 (decoder 1, pair 0) is ordered normal"


def station(habits: str) -> Layout:
    """Return a layout whose booster prints DCC packets."""
    entry = f"kind: dcc, serial: /dev/ttyUSB0, offset: 60{habits}"
    return layout(FERNHOLLOW.replace("kind: mqtt, repeat-window: 2 s", entry))


@pytest.mark.parametrize(
    ("kind", "text", "lines"),
    [
        ("dcc", "81 F9 78", (PACKET, "it tells: accessory 1 was ordered normal (by dcc)")),
        (
            "dcc",
            "11111111111111 0 10000001 0 11111001 0 01111000 1",
            (PACKET, "it tells: accessory 1 was ordered normal (by dcc)"),
        ),
        (
            "dcc",
            "FF 00 FF",
            ("FF 00 FF is an idle packet; it is not for an accessory", "it tells nothing of the layout"),
        ),
        ("line", "accessory/61/ordered thrown", ("it tells: accessory 61 was ordered reverse (by line)",)),
    ],
)
def test_what_needs_no_layout_file(kind: str, text: str, lines: tuple[str, ...]) -> None:
    """A packet and a line mean the same in every layout; a packet is also said to be what it is."""
    assert Tried(lines, understood=True) == try_alone(Adapters(), kind, text)


def test_what_is_damaged_is_refused_with_the_reason() -> None:
    """The reason is said, and that it is not understood."""
    tried = try_alone(Adapters(), "dcc", "81 F9 79")
    assert not tried.understood
    assert tried.lines[0].startswith("refused: the error byte is 79, and would be 78")


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("tram", "no event source is called 'tram': there are dcc"),
        ("mqtt", "the layout file says what mqtt hears"),
        ("topics", "the layout file says what topics hears"),
        ("model-clock", "the layout file says what model-clock hears"),
    ],
)
def test_what_needs_one(kind: str, message: str) -> None:
    """A source that is not there, or whose owner has to say what it hears, is told."""
    with pytest.raises(LamproomError, match=message):
        try_alone(Adapters(), kind, "81 F9 78")


@pytest.mark.parametrize("habits", ["", ", repeat-window: 2 s", ", refresh-every: 2 s"])
def test_with_a_layout_file_the_source_s_own_numbers_count(habits: str) -> None:
    """The offset is that of the source, and what follows is what an order does, also of one that refreshes."""
    for channel in ("dcc", "booster"):
        tried = try_message(station(habits), Adapters(), channel, "81 F8 79")
        assert tried.understood
        assert tried.lines[0].endswith("is ordered reverse; with the offset 60 that is accessory 61 here")
        assert tried.lines[0].startswith("booster: 81 F8 79 is a basic accessory packet: accessory 1 ")
        assert any("makes T2 show clear" in line for line in tried.lines), tried.lines
