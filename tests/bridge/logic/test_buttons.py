"""Buttons that are held, latched or stepped through, and contacts that bounce."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.engine import Engine
from bridge.events import MILLISECOND, SECOND, Authority, ButtonReported, ButtonState
from bridge.logic.blocks import DEBOUNCE
from tests.support.driving import button, lost
from tests.support.tracks import driven, run_to, shown, tell, why, written

PRESSED: Final = ButtonState.PRESSED
RELEASED: Final = ButtonState.RELEASED

PANEL: Final = written(
    {
        "H": "buttons: {held: {lever: clear, caution: approach, crash: stop}, otherwise: restricting}",
        "L": "buttons: {latched: {red: stop, amber: approach, green: clear}}",
        "S": "buttons: {stepped: {button: next, aspects: [approach, clear, stop]}}",
    }
)


def kept(name: str, state: ButtonState, at: int = 0, source: str = "panel") -> ButtonReported:
    """Return a kept copy of what a button did."""
    return ButtonReported(at=at, source=source, name=name, state=state, authority=Authority.STATE)


def slowly(engine: Engine, *steps: tuple[str, ButtonState]) -> None:
    """Work buttons one after the other, a second apart."""
    for name, state in steps:
        engine.handle(button(name, state, engine.now + SECOND))


@pytest.mark.parametrize(
    ("steps", "aspect"),
    [
        ([], "stop"),
        ([("lever", PRESSED)], "clear"),
        ([("lever", PRESSED), ("lever", RELEASED)], "restricting"),
        ([("lever", RELEASED)], "restricting"),
        ([("lever", PRESSED), ("caution", PRESSED)], "approach"),
        ([("caution", PRESSED), ("lever", PRESSED)], "approach"),
        ([("lever", PRESSED), ("caution", PRESSED), ("caution", RELEASED)], "clear"),
        ([("lever", PRESSED), ("caution", PRESSED), ("crash", PRESSED)], "stop"),
    ],
)
def test_of_held_buttons_the_most_restrictive_counts(
    steps: list[tuple[str, ButtonState]], aspect: str
) -> None:
    """A signal shows the most restrictive aspect of the buttons that are held, and another while none is."""
    engine = driven(PANEL)
    slowly(engine, *steps)
    assert [aspect] == shown(engine, "H")


@pytest.mark.parametrize(
    ("steps", "aspect"),
    [
        ([], "stop"),
        ([("green", PRESSED)], "clear"),
        ([("green", PRESSED), ("green", RELEASED)], "clear"),
        ([("green", RELEASED)], "stop"),
        ([("green", PRESSED), ("red", PRESSED), ("green", RELEASED)], "stop"),
        ([("red", PRESSED), ("amber", PRESSED)], "approach"),
    ],
)
def test_the_button_that_was_pressed_last_stays(steps: list[tuple[str, ButtonState]], aspect: str) -> None:
    """A latched signal shows the aspect of the last press; letting go changes nothing."""
    engine = driven(PANEL)
    slowly(engine, *steps)
    assert [aspect] == shown(engine, "L")


def test_each_press_goes_one_step_on() -> None:
    """A stepped signal goes through its aspects in their order, from the last to the first, a press a step."""
    engine = driven(PANEL)
    seen = shown(engine, "S")
    for _ in range(4):
        slowly(engine, ("next", PRESSED), ("next", RELEASED))
        seen += shown(engine, "S")
    assert ["stop", "approach", "clear", "stop", "approach"] == seen


def test_a_press_that_is_told_again_is_no_second_step() -> None:
    """A panel that repeats that its button is held goes no step on; only a press after a release does."""
    engine = driven(PANEL)
    slowly(engine, ("next", PRESSED), ("next", PRESSED), ("next", PRESSED))
    assert ["approach"] == shown(engine, "S")


@pytest.mark.parametrize("state", ButtonState)
def test_a_kept_copy_is_no_press_and_hides_none(state: ButtonState) -> None:
    """A kept copy of a press makes no step, and the press after it makes one; a copy of a release ends no press."""
    engine = driven(PANEL)
    tell(engine, kept("next", state))
    assert ["stop"] == shown(engine, "S")

    slowly(engine, ("next", PRESSED))
    assert ["approach"] == shown(engine, "S")

    tell(engine, kept("next", state, engine.now))
    slowly(engine, ("next", PRESSED))
    assert ["approach"] == shown(engine, "S")


def test_stepping_begins_anew_after_the_panel_was_lost() -> None:
    """A stepped signal whose panel was lost shows its most restrictive aspect, and the next press is the first."""
    engine = driven(PANEL)
    slowly(engine, ("next", PRESSED), ("next", RELEASED), ("next", PRESSED))
    tell(engine, lost("panel", engine.now))
    assert ["stop"] == shown(engine, "S")

    slowly(engine, ("next", PRESSED))
    assert ["approach"] == shown(engine, "S")


def test_a_signal_does_not_improve_when_the_panel_of_a_held_button_is_lost() -> None:
    """A button may still be held when its panel is lost: until it is heard of again nothing better is shown."""
    engine = driven(PANEL)
    tell(
        engine,
        button("lever", PRESSED, SECOND, "tower"),
        button("crash", PRESSED, SECOND, "yard"),
        lost("yard", 2 * SECOND),
    )
    assert ["stop"] == shown(engine, "H")
    assert "it is not known whether button crash is held: yard was lost" == why(engine, "H")

    tell(engine, kept("crash", RELEASED, 3 * SECOND, "yard"))
    assert ["stop"] == shown(engine, "H")

    tell(engine, button("crash", RELEASED, 4 * SECOND, "yard"))
    assert ["clear"] == shown(engine, "H")


def test_a_lost_button_that_could_make_nothing_worse_is_nothing_to_wait_for() -> None:
    """That a better button may be held too makes no difference to what a worse one says."""
    engine = driven(PANEL)
    tell(
        engine,
        button("lever", PRESSED, SECOND, "yard"),
        button("caution", PRESSED, SECOND, "tower"),
        lost("yard", 2 * SECOND),
    )
    assert ["approach"] == shown(engine, "H")


def test_a_bouncing_contact_is_one_press() -> None:
    """Contacts that bounce for 5 to 20 ms (common practice, no source) make one step and one change."""
    engine = driven(PANEL)
    for at, state in ((0, PRESSED), (2, RELEASED), (3, PRESSED), (9, RELEASED), (17, PRESSED)):
        engine.handle(button("next", state, at * MILLISECOND))
    run_to(engine, SECOND)
    assert ["approach"] == shown(engine, "S")


def test_a_short_press_is_followed_by_its_release() -> None:
    """What was said while a contact was not believed counts as soon as it is: a short press is not held for ever."""
    engine = driven(PANEL)
    tell(engine, button("lever", PRESSED, SECOND), button("lever", RELEASED, SECOND + 10 * MILLISECOND))
    assert ["clear"] == shown(engine, "H")

    run_to(engine, SECOND + DEBOUNCE - 1)
    assert ["clear"] == shown(engine, "H")
    run_to(engine, SECOND + DEBOUNCE)
    assert ["restricting"] == shown(engine, "H")


def test_what_waits_of_a_lost_panel_never_counts() -> None:
    """A press that was not believed yet when its panel was lost is no order any more."""
    engine = driven(PANEL)
    tell(
        engine,
        button("green", PRESSED, 0),
        button("green", RELEASED, SECOND),
        button("green", PRESSED, SECOND + 10 * MILLISECOND),
        lost("panel", SECOND + 20 * MILLISECOND),
    )
    run_to(engine, 2 * SECOND)
    assert ["stop"] == shown(engine, "L")
    assert "panel was lost" in why(engine, "L")


def test_a_panel_that_was_heard_again_is_believed_at_once() -> None:
    """After a loss nothing is known of the contact, so the first thing that it says counts."""
    engine = driven(PANEL)
    tell(
        engine,
        button("green", PRESSED, SECOND),
        lost("panel", SECOND + MILLISECOND),
        button("green", RELEASED, SECOND + 2 * MILLISECOND),
        button("red", PRESSED, SECOND + 3 * MILLISECOND),
        button("green", PRESSED, SECOND + 40 * MILLISECOND),
    )
    assert ["clear"] == shown(engine, "L")
