"""What can be sent by hand, and what is refused with what would do."""

from __future__ import annotations

import pytest

from bridge.errors import LamproomError
from bridge.service.address import Address, password_path
from bridge.service.send import fact_message

ORDERS = "normal, reverse, closed, thrown or released"


def message(words: str, *, root: str = "layout", proved: bool = False) -> tuple[str, str]:
    """Return topic and payload of what is said in one line."""
    kind, *rest = words.split()
    return fact_message(kind, rest, root=root, proved=proved)


USE_NEEDS = (
    "`use` needs signal, block, turnout, source or node, its name, and out, absent or in-use:"
    " such as `use signal T4 out`"
)


@pytest.mark.parametrize(
    ("words", "topic", "payload"),
    [
        ("accessory 61 thrown", "accessory/61/ordered", "reverse"),
        ("accessory 61 released", "accessory/61/ordered", "released"),
        ("aspect 12 5", "aspect/12", "5"),
        ("block tarn-2 occupied", "block/tarn-2", "occupied"),
        ("power yard shorted", "power/yard", "shorted"),
        ("button platform pressed", "button/platform", "pressed"),
        ("clock 16:30", "clock", '{"time": "16:30"}'),
        ("use signal T4 out", "use/signal/T4", "out"),
        ("use turnout 63 out rod bent", "use/turnout/63", "out: rod bent"),
        ("use block east in-use", "use/block/east", "in-use"),
        ("clock 16:30:59 6", "clock", '{"time": "16:30:59", "rate": 6}'),
        ("clock 00:00 0.25", "clock", '{"time": "00:00", "rate": 0.25}'),
        ("clock 23:59 511.75 stopped", "clock", '{"time": "23:59", "rate": 511.75, "running": false}'),
    ],
)
def test_words_become_a_message(words: str, topic: str, payload: str) -> None:
    """Each kind of fact has its topic, and its payload is what a source understands."""
    assert (f"layout/{topic}", payload) == message(words)


def test_an_accessory_may_be_proved() -> None:
    """What was seen of an accessory goes to a topic of its own, and may be that it moves."""
    assert ("layout/accessory/61/proved", "moving") == message("accessory 61 moving", proved=True)
    assert ("layout/accessory/61/proved", "normal") == message("accessory 61 closed", proved=True)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            "accessory 61 REVERSE",
            f"an accessory is never ordered 'REVERSE': write {ORDERS}; did you mean reverse?",
        ),
        (
            "accessory 61 moving",
            "nobody orders an accessory to be moving: add --proved if that is what it was seen to be",
        ),
        ("accessory 4000 normal", "'4000' is no accessory number: accessories are numbered 1 to 2048"),
        ("accessory 61", "`accessory` needs two words, which one and what: such as `accessory 61 reverse`"),
        ("aspect 12 256", "'256' is no aspect number: write 0 to 255"),
        ("power yard dim", "track power is never 'dim': write on, off or shorted"),
        ("block tarn full", "a block is never 'full': write occupied, clear or unknown"),
        ("button bell hit", "a button is never 'hit': write pressed or released"),
        (
            "signal 61 stop",
            "'signal' cannot be sent; use one of: accessory, aspect, block, power, button, clock, use",
        ),
        (
            "clock 4:30pm",
            "'4:30pm' is no time of day: write HH:MM or HH:MM:SS up to 23:59:59, such as 16:30",
        ),
        ("clock 24:00", "'24:00' is no time of day: write HH:MM or HH:MM:SS up to 23:59:59, such as 16:30"),
        ("clock noon", "'noon' does not fit a clock: write a time such as 16:30, then its rate, or stopped"),
        ("clock 6", "the clock needs a time of day: such as `clock 16:30 6`"),
        ("use signl T4 out", USE_NEEDS),
        ("use signal T4 in-use again", "only what is out of use has a reason: leave 'again' out"),
        (
            "clock 16:30 17:30",
            "'17:30' says a second time what the clock should do: say each thing once",
        ),
        *(
            (
                f"clock 16:30 {rate}",
                f"'{rate}' is no rate of a clock: write 0.25 to 511.75 in steps of a quarter, or stopped",
            )
            for rate in ("0", "-1", "0.3", "512", "1e999999999", "nan", "inf", "1e-999999999")
        ),
    ],
)
def test_what_says_no_fact_is_refused(words: str, says: str) -> None:
    """The refusal names the word and what to write instead."""
    with pytest.raises(LamproomError) as caught:
        message(words)
    assert says == str(caught.value)


@pytest.mark.parametrize("words", ["aspect 12 5", "block tarn clear", "clock 16:30"])
def test_only_an_accessory_can_be_proved(words: str) -> None:
    """`--proved` with anything else is refused, for it would change nothing."""
    with pytest.raises(LamproomError, match="--proved belongs to an accessory"):
        message(words, proved=True)


@pytest.mark.parametrize("root", ["bad/#", "a+b", "", "/layout", "a//b", "$SYS", "a\nb", "x" * 129])
def test_a_root_that_is_no_topic_is_refused(root: str) -> None:
    """A root with a wildcard, or one below which nobody can listen, never reaches the broker."""
    with pytest.raises(LamproomError, match=r"name one topic, such as layout"):
        message("accessory 61 reverse", root=root)


@pytest.mark.parametrize(
    ("text", "host", "port"),
    [
        ("8471", "127.0.0.1", 8471),
        ("layout.local", "layout.local", 1883),
        ("layout.local:99", "layout.local", 99),
        ("[::1]:99", "::1", 99),
        ("::1", "::1", 1883),
    ],
)
def test_an_address_is_a_host_a_port_or_both(text: str, host: str, port: int) -> None:
    """A figure alone is a port of this machine."""
    assert Address(host, port) == Address.parse(text, 1883)


@pytest.mark.parametrize("text", ["", ":99", "70000", "host:x", "host:70000", "9" * 5000])
def test_what_is_no_address_is_refused(text: str) -> None:
    """The refusal shows how an address is written."""
    with pytest.raises(LamproomError, match="is no address: write HOST, HOST:PORT or a port alone"):
        Address.parse(text, 1883)


def test_a_password_file_lies_beside_the_layout_file() -> None:
    """A relative path starts from the layout file, wherever the program is started; an absolute one stays."""
    assert "/etc/lamproom/secret" == str(password_path("/etc/lamproom/layout.yaml", "secret"))
    assert "/run/secret" == str(password_path("/etc/lamproom/layout.yaml", "/run/secret"))
    assert "secret" == str(password_path("layout.yaml", "secret"))
