"""What `check` says of colours: those that a lamp cannot mix, those that a signal should not show, and nothing else."""

from __future__ import annotations

import pytest

from bridge.check import check_text
from bridge.layout.chips import CHIP_TYPES
from bridge.light.colours import COLOURS

LAYOUT = """\
layout: Sedge
EXTRA
builds:
  pixel: {chips: [CHIP], lamps: {head: {full-colour: 1}}}
  own: {chips: [CHIP], lamps: {head: {full-colour: 1, colour: COLOUR}}}
  leds: {chips: [ws2811], lamps: {red: {channel: 1}, green: {channel: 2}}}
nodes:
  sedge: {chains: [{name: a, fixtures: [{name: S, build: pixel}, {name: L, build: own}, {name: D, build: leds}]}]}
signals:
  S: {aspects: {stop: red, other: SHOWN}, commands: {1: {normal: stop, reverse: other}}}
  D: {aspects: {stop: red, clear: green}, commands: {2: {normal: stop, reverse: clear}}}
lights:
  L: {when: {accessory: 3}}
"""


def told(
    shown: str = "green", *, chip: str = "ws2812b", colour: str = "warm-white", extra: str = ""
) -> list[str]:
    """Return the warnings about a layout with one signal colour and one colour of a light."""
    text = LAYOUT.replace("EXTRA\n", extra).replace("CHIP", chip)
    checked = check_text(text.replace("SHOWN", shown).replace("COLOUR", colour))
    assert checked.layout is not None, checked.findings
    return [finding.line("f") for finding in checked.findings]


@pytest.mark.parametrize("chip", CHIP_TYPES)
@pytest.mark.parametrize(
    "colour", ["yellow", "green", "blue", "lunar", "white", "warm-white", "amber", "2700 K", "6500 K"]
)
def test_the_usual_colours_of_the_usual_chips_are_told_nothing(chip: str, colour: str) -> None:
    """Whoever uses the colours of signals by their names hears nothing about them."""
    assert [] == told(colour, chip=chip)


@pytest.mark.parametrize("chip", CHIP_TYPES)
@pytest.mark.parametrize("colour", COLOURS)
def test_a_light_may_have_any_colour_that_has_a_name(chip: str, colour: str) -> None:
    """Every pixel mixes every colour by name near enough, and a light is held to no limit."""
    assert [] == told(chip=chip, colour=colour)


def test_a_colour_beyond_the_dies_is_told_with_what_is_shown_instead() -> None:
    """A blue-green that no pixel has: where it should lie, where it lies, and what to ask for."""
    assert [
        (
            "f:2:11: warning: a ws2812b cannot mix sea (x 0.008, y 0.538) and shows x 0.107, y 0.504 instead: "
            "ask for a paler colour, or for one between those of its dies"
        )
    ] == told(colour="sea", extra="colours: {sea: {wavelength: 500 nm}}\n")


def test_a_colour_just_beyond_the_dies_is_told_nothing() -> None:
    """A difference that nobody sees is worth no word: 589 nm on a pixel is a little paler than it should be."""
    assert [] == told(colour="line", extra="colours: {line: {wavelength: 589 nm}}\n")


@pytest.mark.parametrize(
    ("shown", "extra", "says"),
    [
        (
            "yellow",
            "colours: {yellow: {xy: [0.5, 0.45]}}\n",
            (
                "f:2:11: warning: as a ws2812b shows it, yellow (x 0.500, y 0.450) lies outside what a signal may show "
                "as yellow by EASA CS ADR-DSN.U.930, CIE 107-1994, draft EN 12368 (1998) or ITE VTCSH (1985, 1998): "
                "leave it out, and yellow is worked out for each lamp"
            ),
        ),
        (
            "red",
            "chips: {ws2812b: {red: {wavelength: 600 nm}}}\n",
            (
                "f:10:23: warning: as a ws2812b shows it, red (x 0.627, y 0.372) lies outside what a signal may show "
                "as red by EASA CS ADR-DSN.U.930, CIE 107-1994, draft EN 12368 (1998) or ITE VTCSH (1985, 1998): "
                "look again at what `chips` says of ws2812b"
            ),
        ),
        (
            "1900 K",
            "",
            (
                "f:9:35: warning: as a ws2812b shows it, 1900 K (x 0.538, y 0.411) lies outside what a signal may show "
                "as white by EASA CS ADR-DSN.U.930: white is about 2500 K to 9000 K"
            ),
        ),
        (
            "sodium",
            "",
            (
                "f:9:35: warning: as a ws2812b shows it, sodium (x 0.533, y 0.415) lies outside what a signal may show "
                "as red, yellow, green, blue or white by EASA CS ADR-DSN.U.930, CIE 107-1994, draft EN 12368 (1998) or "
                "ITE VTCSH (1985, 1998): use red, yellow, green, blue or white"
            ),
        ),
    ],
)
def test_what_a_signal_should_not_show_is_told_with_the_standard(shown: str, extra: str, says: str) -> None:
    """A colour outside the limits of its name: its place, where it lies, by which standards, and what helps."""
    assert says in told(shown, extra=extra)


def test_a_light_is_held_to_no_limit_of_signals() -> None:
    """What no signal may show is good for a light, also where the lamp has it as a colour of its own."""
    assert [] == told(colour="sodium")


@pytest.mark.parametrize(("odd", "warnings"), [("sodium", 1), ("[sodium, gate]", 0)])
def test_an_aspect_for_which_the_lamps_are_missing_is_told_nothing_of(odd: str, warnings: int) -> None:
    """Of a set of aspects only what the signal has the lamps for is looked at."""
    aspects = f"aspects: {{many: {{stop: red, other: green, odd: {odd}}}}}\nbuilds:\n"
    text = LAYOUT.replace("EXTRA\n", "").replace("CHIP", "ws2812b").replace("COLOUR", "white")
    text = text.replace("builds:\n", aspects).replace("{stop: red, other: SHOWN}", "many")
    lamps = "red: {channel: 1}, gate: {channel: 3, colour: red}"  # a lamp that another signal has
    checked = check_text(text.replace("red: {channel: 1}", lamps))
    assert checked.layout is not None, checked.findings
    assert warnings == len(checked.findings)
