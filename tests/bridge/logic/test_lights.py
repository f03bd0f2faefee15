"""What a light promises: the last command counts, a copy never does against it, and what it does when nobody knows."""

from __future__ import annotations

import pytest

from bridge.check import check_text
from bridge.engine import Engine
from bridge.events import SECOND, BlockReported, BlockState, ButtonState
from bridge.layout.model import WhenUnknown
from bridge.logic.board import Board
from tests.bridge.logic.test_board import asked
from tests.bridge.logic.test_rings import CONTRARY
from tests.support.driving import NORMAL, REVERSE, layout, lost, order, started
from tests.support.lit import clock, driven, lamp, press, street, tell, why


def test_a_light_that_knows_nothing_is_off_unless_its_owner_wants_it_on() -> None:
    """At the start there is nothing to hold: a light is dark, or on where it is on while nobody knows."""
    engine = started()
    shown = {
        name: choice.aspect
        for name, choice in engine.choices().items()
        if name not in ("T2", "T4", "Y1", "Y3")
    }
    assert {"mill": "off", "inn": "off", "chapel": "on", "kiosk": "off"} == shown


@pytest.mark.parametrize(
    ("unknown", "lit", "dark"), [("hold", "on", "off"), ("off", "off", "off"), ("on", "on", "on")]
)
def test_a_light_does_what_its_owner_says_when_nobody_knows(unknown: str, lit: str, dark: str) -> None:
    """Lit or dark, a light whose source is lost holds, goes off, or is on."""
    engine = driven(
        f"{{accessory: 70}}, when-unknown: '{unknown}'", f"{{accessory: 71}}, when-unknown: '{unknown}'"
    )
    tell(engine, order(70, REVERSE), order(71, NORMAL))
    assert ["on", "off"] == [lamp(engine, "H1"), lamp(engine, "H2")]
    tell(engine, lost())
    assert [lit, dark] == [lamp(engine, "H1"), lamp(engine, "H2")]


def test_the_last_command_counts_whoever_gave_it() -> None:
    """What another source orders afterwards counts, and only the loss of that source takes it away."""
    engine = driven("{accessory: 70}, when-unknown: 'off'")
    tell(engine, order(70, NORMAL, source="tower"), order(70, REVERSE), lost("tower"))
    assert "on" == lamp(engine)
    tell(engine, lost("panel"))
    assert "off" == lamp(engine)


@pytest.mark.parametrize(
    ("when", "unknown"),
    [
        ("{accessory: 70}", WhenUnknown.HOLD),
        ("{button: bell}", WhenUnknown.OFF),
        ("{button: bell, toggles: true}", WhenUnknown.HOLD),
        ("{any: [{clock: dusk to dawn}, {button: bell}]}", WhenUnknown.OFF),
        ("{not: {all: [{button: bell}]}}", WhenUnknown.OFF),
        ("{button: bell}, when-unknown: hold", WhenUnknown.HOLD),
    ],
)
def test_a_light_holds_unless_a_held_button_is_among_what_it_goes_by(when: str, unknown: WhenUnknown) -> None:
    """A switch stays where it is; a button that nobody is heard to let go may be let go."""
    assert unknown is layout(street(when)).lights[0].when_unknown


def test_a_light_that_goes_by_another_follows_it_at_once() -> None:
    """A row of lights, each by the one before, all come on in the event that lights the first."""
    engine = driven("{accessory: 70}", "{light: H1}", "{not: {light: H2}}")
    tell(engine, order(70, REVERSE))
    assert ["on", "on", "off"] == [lamp(engine, name) for name in ("H1", "H2", "H3")]
    assert "H1 is on" == why(engine, "H2")


def test_lights_go_by_signals_that_give_up() -> None:
    """Where signals change each other for ever they stop, and so do not the lights that go by them: those follow."""
    house = "  house: {chips: [ws2811], lamps: {white: {channel: 1}}}\nnodes:\n"
    village = "  village: {chains: [{name: one, fixtures: [{name: in, build: house}, {name: out, build: house}]}]}\n"
    lights = "lights:\n  in: {when: {signal: A, shows: clear}}\n  out: {when: {not: {light: in}}}\n"
    text = CONTRARY.replace("nodes:\n", house + village, 1) + lights
    engine = Engine(layout(text))
    engine.start()
    for name in ("west", "east"):
        engine.handle(BlockReported(at=0, source="panel", name=name, state=BlockState.CLEAR))
    shown = {name: choice.aspect for name, choice in engine.choices().items()}
    assert ("stop", "off", "on") == (shown["A"], shown["in"], shown["out"])


def test_circles_of_lights_are_refused() -> None:
    """Lights that go by each other in a circle are an error at the first of them, and told once."""
    found = check_text(street("{light: H2}", "{any: [{light: H3}, always]}", "{not: {light: H1}}")).findings
    text = "H1 goes by H2 goes by H3 goes by H1: a light cannot wait for itself; let one of them go by something else"
    assert [text] == [each.message for each in found]


def test_an_event_costs_only_the_lights_that_go_by_it() -> None:
    """A clock that is told costs nothing where no hour begins or ends; where one does, only those that go by it."""
    board = Board(layout(street("{clock: 18:00 to 23:30}", "{accessory: 70}", "{clock: 06:00 to 23:30}")))
    with asked() as names:
        board.hear(clock("05:59"), 1)
    assert ["H1", "H3"] == names
    for event, listeners in (
        (clock("05:59:30"), []),
        (clock("06:00", SECOND), ["H3"]),
        (clock("17:59", 2 * SECOND), []),
        (order(70, REVERSE), ["H2"]),
        (press("bell"), []),
        (clock("19:00", 3 * SECOND), ["H1"]),
        (clock("23:45", 4 * SECOND), ["H1", "H3"]),
    ):
        with asked() as names:
            board.hear(event, 2)
        assert listeners == names
    assert board.next_due() == 4 * SECOND + (6 * 3600 + 900) * SECOND


def test_a_thousand_houses_cost_a_clock_that_is_told_no_question() -> None:
    """Of a thousand houses with a spread only those are asked whose own hour begins in the minute that has passed."""
    houses = 1000
    text = street().replace("          - {name: H1, build: house}\n", "")
    fixtures = "".join(f"          - {{name: L{place}, build: house}}\n" for place in range(houses))
    text = text.replace("          - {name: H2, build: house}\n", fixtures)
    text += "".join(
        f"  L{place}: {{when: {{clock: 18:00 to 23:30, spread: 1 h}}}}\n" for place in range(houses)
    )
    board = Board(layout(text))
    board.hear(clock("12:00"), 1)
    total = 0
    for minute in range(12 * 60, 24 * 60):
        with asked() as names:
            board.hear(clock(f"{minute // 60:02}:{minute % 60:02}"), 2)
        quiet = not (17 * 60 + 30 <= minute <= 18 * 60 + 30 or 23 * 60 <= minute)
        assert len(names) <= (0 if quiet else houses // 20)
        total += len(names)
    assert houses <= total <= 2 * houses


def test_a_button_of_a_light_is_listened_to_however_it_is_used() -> None:
    """A press that toggles something, or begins it, means something here."""
    board = Board(
        layout(street("{button: bell, toggles: true}", "{button: gong, runs: 3 s}", "{button: horn}"))
    )
    for name, listens in (("bell", True), ("gong", True), ("horn", True), ("door", False)):
        assert listens is board.listens(press(name, 0, ButtonState.RELEASED))
