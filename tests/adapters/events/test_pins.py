"""Push buttons on pins, on the mock pins that `gpiozero` brings for tests."""

from __future__ import annotations

import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.contract import EventSource, Raw
from adapters.events.pins import BoardPins, PinsOptions
from adapters.testing import SourceBench, SourceContract
from bridge.errors import DecodeError, LinkError
from bridge.events import Authority, ButtonReported, ButtonState
from bridge.layout.text import parse
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters
from tests.support.far_ends import Fingers
from tests.support.hosts import listening

ONE = "factory: mock, buttons: {bell: 17}"


def made(text: str, host: SourceBench) -> BoardPins:
    """Return a source of options as a layout file has them, written in braces."""
    return BoardPins("panel", PinsOptions.model_validate(parse("{" + text + "}").data), host)


class TestBoardPins(SourceContract[Fingers]):
    """It keeps the contract of a source; pins stay where they are, and a finger is no flood."""

    can_go = False
    flood_of = 0

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[Fingers]:
        del host
        with pytest.MonkeyPatch.context() as patch:
            yield Fingers(patch)

    def source(self, far_end: Fingers, host: SourceBench) -> EventSource:
        options = PinsOptions.model_validate({"factory": "mock", "buttons": {"bell": 17}})
        far_end.source = BoardPins("bus", options, host)
        return far_end.source


@asynccontextmanager
async def pressed(text: str) -> AsyncIterator[tuple[BoardPins, SourceBench, Any]]:
    """Give a source that listens, its host, and the mock pins."""
    host = SourceBench()
    source = made(text, host)
    async with listening(source):
        assert await host.until(lambda: host.up and bool(host.raws))
        yield source, host, source._factory


async def settled(host: SourceBench, seconds: float = 0.2) -> None:
    """Let so much time of the session pass."""
    until = host.now() + seconds * 1e9
    await host.until(lambda: host.now() >= until)


def said(source: BoardPins, host: SourceBench) -> list[tuple[str, str, str]]:
    """Return name, state and authority of all that came in."""
    events = [event for raw in host.raws for event in source.decode(raw, 1)]
    return [
        (event.name, event.state.value, event.authority.value)
        for event in events
        if isinstance(event, ButtonReported)
    ]


async def test_a_press_and_its_release() -> None:
    """How it stands at the start is a copy, and no press; then each change is one."""
    async with pressed(ONE) as (source, host, pins):
        pins.pin(17).drive_low()
        await settled(host)
        pins.pin(17).drive_high()
        await settled(host)
        assert [
            ("bell", "released", "state"),
            ("bell", "pressed", "command"),
            ("bell", "released", "command"),
        ] == said(source, host)
        assert [
            Raw("GPIO17", b"high", retained=True),
            Raw("GPIO17", b"low"),
            Raw("GPIO17", b"high"),
        ] == host.raws


@pytest.mark.parametrize(
    ("keys", "while_high"),
    [
        ("pull: up", "released"),
        ("pull: up, active: high", "pressed"),  # a contact that opens when it is pressed
        ("pull: down", "pressed"),
        ("pull: down, active: low", "released"),
        ("pull: none, active: low", "released"),
        ("pull: none, active: high", "pressed"),
    ],
)
@pytest.mark.parametrize("where", ["of the source", "of the button"])
async def test_pull_and_active_level(keys: str, while_high: str, where: str) -> None:
    """Each way to wire a button, said once for all or for one of them."""
    one = (
        f"{ONE}, {keys}"
        if where == "of the source"
        else f"factory: mock, buttons: {{bell: {{pin: 17, {keys}}}}}"
    )
    async with pressed(one) as (source, host, pins):
        assert keys.split(",", maxsplit=1)[0] == f"pull: {pins.pin(17).pull.replace('floating', 'none')}"
        for pin in (pins.pin(17).drive_low, pins.pin(17).drive_high):
            if (pins.pin(17).state == 1) == (pin == pins.pin(17).drive_high):
                continue
            pin()
            await settled(host)
        states = [state for _name, state, _authority in said(source, host)]
        assert while_high == states[-1] if pins.pin(17).state else while_high != states[-1]


async def test_a_contact_that_chatters_is_one_press() -> None:
    """Edges closer together than the time of debounce count when the pin has stood."""
    async with pressed(f"{ONE}, debounce: 50 ms") as (source, host, pins):
        for _ in range(20):
            pins.pin(17).drive_low()
            await settled(host, 0.01)
            pins.pin(17).drive_high()
        pins.pin(17).drive_low()
        await settled(host)
        assert ["released", "pressed"] == [state for _name, state, _authority in said(source, host)]


async def test_a_spike_is_no_press() -> None:
    """Shorter than the time of debounce, as a long wire catches it."""
    async with pressed(f"{ONE}, debounce: 100 ms") as (source, host, pins):
        pins.pin(17).drive_low()
        pins.pin(17).drive_high()
        await settled(host)
        assert 1 == len(said(source, host))


async def test_nothing_is_left_of_it() -> None:
    """The pins are free for whoever listens next, and how they stand then is a copy again."""
    host = SourceBench()
    source = made(ONE, host)
    for number in (1, 2):
        async with listening(source):
            assert await host.until(lambda number=number: number == len(host.raws))  # type: ignore[misc]
        assert source._factory is None
    assert ["state", "state"] == [authority for _name, _state, authority in said(source, host)]


async def test_a_missing_library_is_said_with_the_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is an extra."""
    monkeypatch.setitem(sys.modules, "gpiozero", None)
    with pytest.raises(LinkError, match=r"install it by `pip install 'lamproom\[pins\]'`"):
        await made(ONE, SourceBench()).listen()


async def test_a_machine_without_pins_is_said_with_the_remedy() -> None:
    """Each way that was tried, and why it does not go."""
    with pytest.raises(
        LinkError, match=r"cannot be reached \(lgpio: .*; rpigpio: .*\): on the board install"
    ):
        await made("buttons: {bell: 17}", SourceBench()).listen()
    with pytest.raises(LinkError, match="no way to the pins called 'lgpoi': write lgpio, mock,"):
        await made("factory: lgpoi, buttons: {bell: 17}", SourceBench()).listen()


async def test_a_pin_that_cannot_be_read_is_named() -> None:
    """The mock board has no GPIO 60, as no Raspberry Pi has."""
    with pytest.raises(LinkError, match="GPIO 60 cannot be read for the button bell"):
        await made("factory: mock, buttons: {door: 4, bell: 60}", SourceBench()).listen()


@given(
    st.sampled_from(["GPIO17", "GPIO4", ""]),
    st.one_of(st.sampled_from([b"low", b"high"]), st.binary()),
    st.booleans(),
)
def test_any_input_is_understood_or_refused(channel: str, payload: bytes, retained: bool) -> None:
    """A level of its own pin is a button, and all else is refused."""
    try:
        (event,) = made(ONE, SourceBench()).decode(Raw(channel, payload, retained), 1)
    except DecodeError:
        assert channel != "GPIO17" or payload not in (b"low", b"high")
        return
    state = ButtonState.PRESSED if payload == b"low" else ButtonState.RELEASED
    authority = Authority.STATE if retained else Authority.COMMAND
    assert ButtonReported(at=1, source="panel", name="bell", state=state, authority=authority) == event


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("buttons: {}", "nothing stands here"),
        ("buttons: {bell: 64}", "64 is no GPIO: write its number"),
        ("buttons: {bell: GPIO17}", "a mapping is needed"),
        ("buttons: {bell: {pin: 17, pull: left}}", "'left' does not fit: write up, down or none"),
        ("buttons: {bell: {pin: 17, pull: none}}", "say by `active` whether it is low or high while pressed"),
        (
            "buttons: {bell: 17, door: 17}",
            "GPIO 17 of this board would be for the button door, and GPIO 17 for the button bell",
        ),
        ("buttons: {bell: 17}, debounce: 20", "write a number and ms, s or min"),
        ("buttons: {bell: 17}, debounce: 2 s", "a debounce is 1 ms to 1 s"),
    ],
)
def test_each_fault_is_told_in_its_line(said: str, message: str) -> None:
    """While the file is checked, on a machine that needs no pins."""
    text = f"""layout: Pins
sources:
  panel: {{kind: pins, {said}}}
builds: {{searchlight: {{chips: [ws2812b], lamps: {{head: {{full-colour: 1}}}}}}}}
nodes: {{bench: {{chains: [{{name: one, fixtures: [{{name: S1, build: searchlight}}]}}]}}}}
signals: {{S1: {{commands: {{61: {{normal: stop, reverse: clear}}}}}}}}
"""
    (finding,) = look_at_text("pins.yaml", text.encode(), Adapters()).findings
    assert message in finding.message
    assert 3 == finding.mark.line
