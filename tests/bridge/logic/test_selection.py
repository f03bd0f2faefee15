from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import Final

import pytest

from bridge.errors import EngineError
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    ButtonReported,
    ButtonState,
    Event,
    LinkState,
    SourceReported,
)
from bridge.layout import controls
from bridge.layout.findings import START
from bridge.logic.device import Device, SignalDevice
from bridge.logic.known import BUTTON, NUMBER, ORDERED, Fact, Key
from bridge.logic.reasons import NOTHING_YET, Choice
from bridge.logic.selection import LAST_COMMAND, PRESSED, SWITCHED, News, Obeying, Step, Table, Trust
from bridge.logic.track import Track
from tests.support.driving import NORMAL, REVERSE, button, copy, heard, layout, lost, order

LAYOUT: Final = layout()


class Alone:
    """One device with a track of its own."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self.track = Track(LAYOUT, ["shop", "door"])
        (self.control,) = device.controls
        device.decide(self.track.known)

    def hear(self, event: Event, number: int) -> Choice | None:
        """Take an event; return what the device shows if that or its reason is new."""
        before = self.device.shown
        if isinstance(event, SourceReported) and event.state is LinkState.LOST:
            self.track.lose(event.source, event.at, number)
            self.device.lose(event.source, number)
        for key, fact in self.track.hear(event, number):
            if fact is not None and key in self.device.keys:
                self.device.hear(key, fact)
        self.device.decide(self.track.known)
        return None if self.device.shown == before else self.device.shown

    @property
    def choice(self) -> Choice:
        """What it shows."""
        return self.device.shown

    @property
    def obeying(self) -> Obeying:
        """The control that obeys."""
        assert isinstance(self.control, Obeying)
        return self.control

    @property
    def trust(self) -> Trust:
        """Whether it knows."""
        return self.obeying.trust


def signal() -> Alone:
    """Make the signal T2: 61 orders stop and clear, 62 normal orders approach, 62 reverse orders nothing."""
    return Alone(SignalDevice(replace(LAYOUT.signals[0], restores=True), None))


def told(control: controls.Control) -> Alone:
    """Make the signal T2 that is told in another way."""
    return Alone(SignalDevice(replace(LAYOUT.signals[0], controls=(control,), restores=True), None))


def numbered() -> Alone:
    """Make a signal that is ordered by aspect numbers of accessory 103: 0 is stop, 1 is clear."""
    return told(controls.AspectNumbers(103, {0: "stop", 1: "clear"}, START))


def latched() -> Alone:
    """Make a signal that the button `shop` clears and the button `door` stops."""
    return told(controls.LatchedButtons({"shop": "clear", "door": "stop"}, START))


def number(aspect: int, authority: Authority = Authority.COMMAND) -> AspectOrdered:
    """Return an order to show an aspect number."""
    return AspectOrdered(at=0, source="panel", number=103, aspect=aspect, authority=authority)


def restored(number: int) -> AccessoryOrdered:
    """Return an order that was kept over a restart."""
    return replace(order(number, REVERSE), authority=Authority.RESTORED)


def button_restored() -> ButtonReported:
    """Return a press that was kept over a restart, which nothing ever is."""
    return replace(button_copy(), authority=Authority.RESTORED)


def button_copy() -> ButtonReported:
    """Return a kept copy of a press."""
    return ButtonReported(
        at=0, source="panel", name="shop", state=ButtonState.PRESSED, authority=Authority.STATE
    )


KINDS: Final[dict[str, tuple[Table, Callable[[], Alone], dict[News, Event], Event]]] = {
    # its table, a fresh one, news of each kind, and the command by which it comes to trust what it was told
    "signal": (
        LAST_COMMAND,
        signal,
        {
            News.COMMAND: order(61, REVERSE),
            News.COPY: copy(61, REVERSE),
            News.RESTORED: restored(61),
            News.LOST: lost(),
        },
        order(62, NORMAL),
    ),
    "numbered": (
        SWITCHED,
        numbered,
        {
            News.COMMAND: number(1),
            News.COPY: number(1, Authority.STATE),
            News.RESTORED: number(1, Authority.RESTORED),
            News.LOST: lost(),
        },
        number(0),
    ),
    "latched": (
        PRESSED,
        latched,
        {
            News.COMMAND: button("shop", ButtonState.PRESSED, SECOND),
            News.COPY: button_copy(),
            News.RESTORED: button_restored(),
            News.LOST: lost(),
        },
        button("door", ButtonState.PRESSED),
    ),
}

PROMISED: Final = {
    # kind of device, whether it knows, news: what it does
    ("signal", Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    ("signal", Trust.UNKNOWN, News.COPY): Step.KEEP,
    ("signal", Trust.UNKNOWN, News.RESTORED): Step.OBEY,
    ("signal", Trust.UNKNOWN, News.LOST): Step.KEEP,
    ("signal", Trust.TRUSTED, News.COMMAND): Step.OBEY,
    ("signal", Trust.TRUSTED, News.COPY): Step.KEEP,
    ("signal", Trust.TRUSTED, News.RESTORED): Step.KEEP,
    ("signal", Trust.TRUSTED, News.LOST): Step.REST,
    ("numbered", Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    ("numbered", Trust.UNKNOWN, News.COPY): Step.OBEY,
    ("numbered", Trust.UNKNOWN, News.RESTORED): Step.OBEY,
    ("numbered", Trust.UNKNOWN, News.LOST): Step.KEEP,
    ("numbered", Trust.TRUSTED, News.COMMAND): Step.OBEY,
    ("numbered", Trust.TRUSTED, News.COPY): Step.KEEP,
    ("numbered", Trust.TRUSTED, News.RESTORED): Step.KEEP,
    ("numbered", Trust.TRUSTED, News.LOST): Step.REST,
    ("latched", Trust.UNKNOWN, News.COMMAND): Step.OBEY,
    ("latched", Trust.UNKNOWN, News.COPY): Step.KEEP,
    ("latched", Trust.UNKNOWN, News.RESTORED): Step.KEEP,
    ("latched", Trust.UNKNOWN, News.LOST): Step.KEEP,
    ("latched", Trust.TRUSTED, News.COMMAND): Step.OBEY,
    ("latched", Trust.TRUSTED, News.COPY): Step.KEEP,
    ("latched", Trust.TRUSTED, News.RESTORED): Step.KEEP,
    ("latched", Trust.TRUSTED, News.LOST): Step.REST,
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_pair_has_its_row(kind: str) -> None:
    """Each table says for every state and every kind of news what happens, and for nothing else."""
    table, make, news, _trusted = KINDS[kind]

    assert set(product(Trust, News)) == set(table)
    assert table is make().obeying.table
    assert set(News) == set(news)


@pytest.mark.parametrize(("kind", "trust", "news"), PROMISED)
def test_every_pair_does_what_is_promised(kind: str, trust: Trust, news: News) -> None:
    """A device that knows or does not know obeys, rests or keeps still, as it is promised for its kind."""
    _table, make, events, trusted = KINDS[kind]
    selector = make()
    if trust is Trust.TRUSTED:
        selector.hear(trusted, 1)
    before = selector.choice
    assert trust is selector.trust

    choice = selector.hear(events[news], 2)

    step = PROMISED[kind, trust, news]
    if step is Step.KEEP:
        assert (None, before, trust) == (choice, selector.choice, selector.trust)
    elif step is Step.OBEY:
        assert ("clear", (2,), "panel", Trust.TRUSTED) == (*_without_reason(choice), selector.trust)
    else:
        assert ("stop", (2,), "", Trust.UNKNOWN) == (*_without_reason(choice), selector.trust)
    assert choice is None or choice is selector.choice


def _without_reason(choice: Choice | None) -> tuple[str, tuple[int, ...], str]:
    assert choice is not None
    return choice.aspect, choice.causes, choice.source


STRANGERS: Final[dict[str, tuple[Key, ...]]] = {
    # a kind of fact, or a number or name, that is nothing to the device
    "signal": ((NUMBER, 61), (BUTTON, "shop"), (ORDERED, 60), (ORDERED, 103)),
    "numbered": ((BUTTON, "103"), (ORDERED, 103), (NUMBER, 61)),
    "latched": ((ORDERED, 103), (BUTTON, "gate")),
}


@pytest.mark.parametrize(("kind", "key"), [(kind, key) for kind in KINDS for key in STRANGERS[kind]])
@pytest.mark.parametrize("trusting", [False, True])
def test_what_a_device_does_not_listen_to_is_a_fault(kind: str, key: Key, trusting: bool) -> None:
    """A fact that a control does not listen to raises EngineError and changes nothing."""
    _table, make, _news, trusted = KINDS[kind]
    selector = make()
    if trusting:
        selector.hear(trusted, 1)
    before = selector.device.state()

    with pytest.raises(EngineError, match="nobody listens here to"):
        selector.obeying.hear(key, Fact(REVERSE, 2, "panel"))
    assert before == selector.device.state()


def test_a_released_output_is_no_order() -> None:
    """The release of an output changes nothing."""
    mast = signal()
    mast.hear(order(61, REVERSE), 1)
    assert mast.hear(AccessoryReleased(at=0, source="panel", number=61), 2) is None


def test_signal_that_knows_nothing_shows_its_most_restrictive_aspect() -> None:
    """A signal starts with the first of its aspects, and says that nothing was ordered."""
    assert Choice("stop", NOTHING_YET) == signal().choice


ORDERS: Final = {
    (61, NORMAL): "stop",
    (61, REVERSE): "clear",
    (62, NORMAL): "approach",
    (62, REVERSE): None,  # orders nothing
}


@pytest.mark.parametrize("length", range(1, 6))
def test_last_command_wins_in_every_order(length: int) -> None:
    """After every sequence of orders on both accessories, the signal shows what was ordered last."""
    for sequence in product(ORDERS, repeat=length):
        selector = signal()
        for number, (accessory, position) in enumerate(sequence, start=1):
            selector.hear(order(accessory, position), number)

        said = [ORDERS[each] for each in sequence if ORDERS[each] is not None]
        assert (said[-1] if said else "stop") == selector.choice.aspect, sequence


def test_position_without_an_aspect_changes_nothing() -> None:
    """A position that orders nothing leaves aspect, reason and trust as they were."""
    selector = signal()
    selector.hear(order(61, REVERSE), 1)
    before = selector.device.state()

    assert selector.hear(order(62, REVERSE), 2) is None
    assert before == selector.device.state()


def test_lost_source_is_restrictive_until_a_new_command() -> None:
    """A signal whose source is lost shows its most restrictive aspect, also when the source is back, until ordered."""
    selector = signal()
    selector.hear(order(61, REVERSE), 1)

    selector.hear(lost(), 2)
    assert ("stop", (2,)) == (selector.choice.aspect, selector.choice.causes)
    assert "panel was lost" in selector.choice.reason

    for event in (heard(), copy(61, REVERSE), lost(), lost("booster")):
        assert selector.hear(event, 3) is None
    assert "stop" == selector.choice.aspect

    selector.hear(order(62, NORMAL, source="booster"), 4)
    assert "approach" == selector.choice.aspect


def test_loss_of_another_source_changes_nothing() -> None:
    """A signal rests on the source of its last command alone."""
    selector = signal()
    selector.hear(order(61, REVERSE, source="booster"), 1)
    selector.hear(order(62, NORMAL, source="panel"), 2)

    assert selector.hear(lost("booster"), 3) is None
    assert "approach" == selector.choice.aspect


def test_reasons_are_sentences_with_the_source() -> None:
    """A reason names the accessory or button, what was said of it, and who said it."""
    mast, other, third = signal(), numbered(), latched()
    mast.hear(order(62, NORMAL), 2)
    other.hear(number(1, Authority.STATE), 1)
    third.hear(button("shop", ButtonState.PRESSED), 3)

    assert "accessory 62 was ordered normal (by panel)" == mast.choice.reason
    assert "aspect 1 was ordered of accessory 103 in a kept copy (by panel)" == other.choice.reason
    assert "button shop was pressed (by panel)" == third.choice.reason


@pytest.mark.parametrize("kind", KINDS)
def test_state_survives_as_plain_data(kind: str) -> None:
    """A selector that takes back a state goes on as the one that gave it."""
    _table, make, _news, trusted = KINDS[kind]
    first, second = make(), make()
    first.hear(trusted, 7)

    second.device.set_state(first.device.state())
    second.device.decide(second.track.known)

    assert (first.choice, first.trust) == (second.choice, second.trust)


def test_a_restored_order_is_for_those_who_want_it() -> None:
    """A device that begins anew after a restart stays as it is; one that wants its last order back shows it."""
    anew, back = Alone(SignalDevice(LAYOUT.signals[0], None)), signal()
    for mast in (anew, back):
        mast.hear(restored(61), 1)
    assert ("stop", "clear") == (anew.choice.aspect, back.choice.aspect)
    assert "accessory 61 was ordered reverse before the restart (by panel)" == back.choice.reason


def test_of_restored_orders_the_newest_counts() -> None:
    """They are told the newest first, so the first one counts, and a command after them counts more."""
    mast = signal()
    mast.hear(replace(order(62, NORMAL), authority=Authority.RESTORED), 1)
    mast.hear(restored(61), 2)
    assert "approach" == mast.choice.aspect
    mast.hear(order(61, NORMAL), 3)
    assert "stop" == mast.choice.aspect
