"""What comes over LCC means what the standard and the owner say, and nothing that was asked for is a command."""

from __future__ import annotations

from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.contract import Raw
from adapters.events.lcc.meaning import PROVED_BY
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import LccSource
from bridge.errors import DecodeError
from bridge.events import (
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    ClockReported,
    Event,
    Position,
    PowerReported,
    PowerState,
)

OWN: Final = "01.02.03.04.05.06.00"
OPTIONS: Final = {
    "host": "gateway",
    "node-id": "01.02.03.04.05.06",
    "blocks": {"tarn": {"occupied": f"{OWN}.01", "clear": f"{OWN}.02"}, "weir": {"sensor": 12}},
    "buttons": {"gate": {"pressed": f"{OWN}.03", "released": f"{OWN}.04"}},
    "power": {"main": {"on": "clear-emergency-off", "off": "emergency-off", "shorted": f"{OWN}.05"}},
    "turnouts": {
        61: {
            "normal": f"{OWN}.06",
            "reverse": f"{OWN}.07",
            "proved-normal": f"{OWN}.08",
            "proved-reverse": f"{OWN}.09",
        }
    },
}


def source(**more: Any) -> LccSource:
    """Return a source that is asked only what frames mean."""
    host: Any = None
    return LccSource("bus", LccOptions.model_validate({**OPTIONS, **more}), host)


def meant(text: str, **more: Any) -> tuple[Event, ...]:
    """Return what frames mean, by the text that came."""
    return source(**more).decode(Raw("05.01.01.01.9A.3C", text.encode()), 7)


def report(event: str, mti: str = "5B4") -> str:
    """Return the frame that sends an event, or says how it stands."""
    return f":X19{mti}123N{event.replace('.', '')};"


def ordered(number: int, position: Position, authority: Authority = Authority.COMMAND) -> AccessoryOrdered:
    return AccessoryOrdered(at=7, source="bus", number=number, position=position, authority=authority)


def aspect(number: int, number_of_aspect: int, authority: Authority = Authority.COMMAND) -> AspectOrdered:
    return AspectOrdered(at=7, source="bus", number=number, aspect=number_of_aspect, authority=authority)


def block(name: str, state: BlockState) -> BlockReported:
    return BlockReported(at=7, source="bus", name=name, state=state)


def button(state: ButtonState, authority: Authority = Authority.COMMAND) -> ButtonReported:
    return ButtonReported(at=7, source="bus", name="gate", state=state, authority=authority)


def power(state: PowerState) -> PowerReported:
    return PowerReported(at=7, source="bus", district="main", state=state)


def proved(number: int, position: Position) -> AccessoryProved:
    return AccessoryProved(at=7, source="bus", number=number, position=position)


NORMAL, REVERSE = Position.NORMAL, Position.REVERSE

# The events of the standard: NMRA S-9.7.0.4 (22 July 2024), 5.2 and 5.3, and its note 2.5.3.3 and 2.5.3.6.
REPORTED = [
    ("01.01.02.00.00.FF.00.09", ordered(1, NORMAL)),
    ("01.01.02.00.00.FF.00.08", ordered(1, REVERSE)),
    ("01.01.02.00.00.FF.00.51", ordered(37, NORMAL)),
    ("01.01.02.00.00.FF.0F.FE", ordered(2044, REVERSE)),
    ("01.01.02.00.00.FF.00.01", ordered(2045, NORMAL)),
    ("01.01.02.00.00.FE.00.09", AccessoryReleased(at=7, source="bus", number=1)),
    ("01.01.02.00.01.00.04.00", aspect(1, 0)),
    ("01.01.02.00.01.00.04.05", aspect(1, 5)),
    ("01.01.02.00.01.00.28.05", aspect(37, 5)),
    ("01.01.02.00.01.07.FF.00", aspect(2044, 0)),
    ("01.01.02.00.00.FB.00.0C", block("weir", BlockState.OCCUPIED)),
    ("01.01.02.00.00.FA.00.0C", block("weir", BlockState.CLEAR)),
    ("01.00.00.00.00.00.FF.FF", power(PowerState.OFF)),
    ("01.00.00.00.00.00.FF.FE", power(PowerState.ON)),
    (f"{OWN}.01", block("tarn", BlockState.OCCUPIED)),
    (f"{OWN}.02", block("tarn", BlockState.CLEAR)),
    (f"{OWN}.03", button(ButtonState.PRESSED)),
    (f"{OWN}.04", button(ButtonState.RELEASED)),
    (f"{OWN}.05", power(PowerState.SHORTED)),
    (f"{OWN}.06", ordered(61, NORMAL)),
    (f"{OWN}.07", ordered(61, REVERSE)),
    (f"{OWN}.08", proved(61, NORMAL)),
    (f"{OWN}.09", proved(61, REVERSE)),
]


@pytest.mark.parametrize(("event", "meaning"), REPORTED, ids=[event for event, _meaning in REPORTED])
def test_an_event_that_is_sent_is_what_the_tables_say(event: str, meaning: Event) -> None:
    """An order is a command, and what somebody sees is feedback; a payload that follows changes nothing (F16)."""
    assert (meaning,) == meant(report(event)) == meant(report(event, "F16"))


@pytest.mark.parametrize(
    "event",
    [
        "01.00.00.00.00.00.FF.FD",  # emergency stop, to which the owner gave no meaning
        "01.00.00.00.00.00.FF.FC",
        "01.00.00.00.00.00.FF.F8",  # a new log entry
        "01.00.00.00.00.00.FF.F1",  # brown-outs
        "01.00.00.00.00.00.FF.F0",
        "01.00.00.00.00.00.FE.00",  # the ident button
        "01.00.00.00.00.00.FD.01",  # link errors
        "01.00.00.00.00.00.FD.04",
        "01.01.00.00.00.00.02.01",  # a node number twice
        "01.01.02.00.00.FB.00.0D",  # a sensor that nobody named
        "01.01.02.00.00.FF.10.00",  # beyond the ranges
        "01.01.02.00.01.08.00.00",
        "01.01.00.00.01.01.08.0A",  # another clock
        "01.01.00.00.01.00.F0.03",  # the day rolls over
        "01.01.00.00.01.00.8F.1E",  # somebody wants the clock set
        "09.09.09.09.09.09.09.09",
    ],
)
def test_an_event_that_nobody_gave_a_meaning_does_nothing(event: str) -> None:
    """S-9.7.3.1 section 6.1: a node does nothing about an event that it does not know."""
    assert () == meant(report(event)) == meant(report(event, "544"))


VALID, INVALID, UNKNOWN = "544", "545", "547"
CONSUMER_VALID, CONSUMER_INVALID = "4C4", "4C5"
STATE = Authority.STATE
IDENTIFIED = [
    ("01.01.02.00.00.FF.00.09", VALID, (ordered(1, NORMAL, STATE),)),
    ("01.01.02.00.00.FF.00.09", CONSUMER_VALID, (ordered(1, NORMAL, STATE),)),
    ("01.01.02.00.00.FF.00.09", INVALID, ()),
    ("01.01.02.00.00.FE.00.09", VALID, ()),
    ("01.01.02.00.01.00.28.05", VALID, (aspect(37, 5, STATE),)),
    ("01.01.02.00.01.00.28.05", CONSUMER_VALID, (aspect(37, 5, STATE),)),
    ("01.01.02.00.01.00.28.05", CONSUMER_INVALID, ()),
    ("01.01.02.00.00.FB.00.0C", VALID, (block("weir", BlockState.OCCUPIED),)),
    ("01.01.02.00.00.FB.00.0C", INVALID, (block("weir", BlockState.CLEAR),)),
    ("01.01.02.00.00.FA.00.0C", INVALID, (block("weir", BlockState.OCCUPIED),)),
    (f"{OWN}.02", VALID, (block("tarn", BlockState.CLEAR),)),
    (f"{OWN}.02", INVALID, (block("tarn", BlockState.OCCUPIED),)),
    (f"{OWN}.02", UNKNOWN, ()),
    (f"{OWN}.02", CONSUMER_VALID, ()),
    (f"{OWN}.02", CONSUMER_INVALID, ()),
    (f"{OWN}.03", VALID, (button(ButtonState.PRESSED, STATE),)),
    (f"{OWN}.03", INVALID, (button(ButtonState.RELEASED, STATE),)),
    ("01.00.00.00.00.00.FF.FF", VALID, (power(PowerState.OFF),)),
    ("01.00.00.00.00.00.FF.FF", INVALID, ()),
    (f"{OWN}.06", VALID, (ordered(61, NORMAL, STATE),)),
    (f"{OWN}.06", INVALID, ()),
    (f"{OWN}.08", VALID, (proved(61, NORMAL),)),
    (f"{OWN}.08", INVALID, (proved(61, Position.UNKNOWN),)),
]


@pytest.mark.parametrize(("event", "mti", "meaning"), IDENTIFIED)
def test_how_an_event_stands_is_state_and_no_command(
    event: str, mti: str, meaning: tuple[Event, ...]
) -> None:
    """An order is a kept copy; a detector says what it sees now; one that only listens to a detector sees nothing."""
    assert meaning == meant(report(event, mti))
    assert not [each for each in meaning if getattr(each, "authority", None) is Authority.COMMAND]


def clock(**told: Any) -> ClockReported:
    """Return what is told of the clock."""
    said = {"seconds": None, "rate_quarters": None, "running": None, **told}
    return ClockReported(at=7, source="bus", to_minute="seconds" in told, **said)


# S-9.7.4.5: the parts of the clock, each by itself; sent, and in the burst that a clock answers with.
@pytest.mark.parametrize("mti", ["5B4", VALID])
@pytest.mark.parametrize(
    ("code", "event"),
    [
        ("08.0A", clock(seconds=8 * 3600 + 600)),
        ("17.3B", clock(seconds=86_340)),
        ("00.00", clock(seconds=0)),
        ("40.0A", clock(rate_quarters=10)),
        ("4F.FF", clock(rate_quarters=-1)),
        ("40.00", clock(rate_quarters=0)),
        ("F0.01", clock(running=False)),
        ("F0.02", clock(running=True)),
    ],
)
def test_the_clock_is_told_in_parts(code: str, event: Event, mti: str) -> None:
    """What is not told stays as it was; and it is feedback, since it is the clock that tells it."""
    assert (event,) == meant(report(f"01.01.00.00.01.00.{code}", mti))
    assert (event,) == meant(report(f"01.01.00.00.01.02.{code}", mti), clock="alternate-1")
    assert (event,) == meant(report(f"05.01.01.01.9A.3C.{code}", mti), clock="05.01.01.01.9A.3C")
    assert () == meant(report(f"01.01.00.00.01.00.{code}", mti), clock="none")
    assert () == meant(report(f"01.01.00.00.01.00.{code}", INVALID))


MADE: Final = {True: "FD", False: "FC"}
CONTACTS = [
    (normal, reverse, position)
    for (normal, reverse), position in PROVED_BY.items()
    if normal is not None and reverse is not None
]


@pytest.mark.parametrize(("normal", "reverse", "position"), CONTACTS)
def test_a_turnout_lies_as_both_its_contacts_say(normal: bool, reverse: bool, position: Position) -> None:
    """The frame of the other contact stands before the newest, so one line of the log says all of it."""
    of_normal, of_reverse = (
        report(f"01.01.02.00.00.{MADE[made]}.00.{last}") for made, last in ((normal, "51"), (reverse, "50"))
    )
    assert (proved(37, position),) == meant(of_normal + of_reverse) == meant(of_reverse + of_normal)


@pytest.mark.parametrize(
    ("event", "mti", "position"),
    [
        ("FD.00.51", "5B4", NORMAL),
        ("FD.00.50", "5B4", REVERSE),
        ("FC.00.51", "5B4", Position.UNKNOWN),
        ("FC.00.50", "5B4", Position.UNKNOWN),
        ("FD.00.51", VALID, NORMAL),
        ("FD.00.51", INVALID, Position.UNKNOWN),
        ("FC.00.51", INVALID, NORMAL),
    ],
)
def test_one_contact_alone_proves_a_turnout_where_it_is_made(
    event: str, mti: str, position: Position
) -> None:
    """Where it is open and nothing is known of the other, nobody knows where the turnout lies."""
    assert (proved(37, position),) == meant(report(f"01.01.02.00.00.{event}", mti))
    assert () == meant(report(f"01.01.02.00.00.{event}", CONSUMER_VALID))


def test_a_contact_of_another_turnout_says_nothing() -> None:
    """Only the turnout of the newest frame is meant."""
    other = report("01.01.02.00.00.FC.00.08")
    assert (proved(37, NORMAL),) == meant(other + report("01.01.02.00.00.FD.00.51"))


def test_an_offset_counts_for_all_that_is_an_accessory() -> None:
    """Common practice: some systems count from four on."""
    more = {"offset": 4}
    assert (ordered(41, NORMAL),) == meant(report("01.01.02.00.00.FF.00.51"), **more)
    assert (aspect(41, 5),) == meant(report("01.01.02.00.01.00.28.05"), **more)
    assert (proved(41, NORMAL),) == meant(report("01.01.02.00.00.FD.00.51"), **more)


def test_one_event_may_mean_several_things() -> None:
    """A button that is pressed by a train, say: both are told, in the order of the keys."""
    twice = {"buttons": {"gate": {"pressed": f"{OWN}.01", "released": f"{OWN}.02"}}}
    assert (block("tarn", BlockState.OCCUPIED), button(ButtonState.PRESSED)) == meant(
        report(f"{OWN}.01"), **twice
    )


@pytest.mark.parametrize(
    "text", ["", ":X107002A5N;", ":X170502A5N;", ":X19490123N;", ":X1A123456N00;", ":S123N00;", "\r\n"]
)
def test_frames_that_are_no_events_mean_nothing(text: str) -> None:
    """They are between nodes."""
    assert () == meant(text)


@pytest.mark.parametrize("text", ["hello;", ":X195B4123N0;", ":X195B4123N", ":X195B4123N01;:X;", "\x00;"])
def test_what_is_no_frame_is_refused_with_what_came(text: str) -> None:
    """And it is said what a frame looks like."""
    with pytest.raises(DecodeError, match="this is no frame of LCC") as caught:
        meant(text)
    assert caught.value.received
    assert ":X195B4123N" in caught.value.expected


def test_another_node_with_our_number_is_told_to_the_owner() -> None:
    """It names the number and the key."""
    with pytest.raises(DecodeError, match=r"has our number 01\.02\.03\.04\.05\.06: give one .* `node-id`"):
        meant(":X10701123N010203040506;")
    assert () == meant(":X10701123N050101019A3C;")


FRAME = st.from_regex(
    rb":X[01]9(5B4|54[4-7]|4C[4-7]|F1[4-6])[0-9A-F]{3}N0101020[01][0-9A-F]{8,9};", fullmatch=True
)


@given(st.binary(max_size=80) | FRAME | st.lists(FRAME, max_size=4).map(b"".join), st.data())
def test_whatever_comes_gives_events_or_is_refused(payload: bytes, data: st.DataObject) -> None:
    """Nothing but DecodeError comes out, also where a byte is wrong, and the same bytes mean the same again."""
    if payload and data.draw(st.booleans()):
        place = data.draw(st.integers(0, len(payload) - 1))
        payload = payload[:place] + data.draw(st.binary(max_size=2)) + payload[place + 1 :]
    one, other = source(), source()
    try:
        events = one.decode(Raw("", payload), 7)
    except DecodeError:
        return
    assert events == one.decode(Raw("", payload), 7) == other.decode(Raw("", payload), 7)
    assert all(event.at == 7 and event.source == "bus" for event in events)
