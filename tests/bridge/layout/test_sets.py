"""Sets of aspects: shipped ones, changed ones, number plates, and several signals on one mast."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.check import check_text
from bridge.layout.findings import Level
from bridge.layout.model import DARK, Flash, Layout, Signal
from bridge.light.pictures import plan_devices
from bridge.light.plans import DevicePlan, Look
from tests.support.layouts import HERE, places

FILE: Final = """\
layout: Sets
builds:
  two: {chips: [ws2812b, ws2812b], heads: {upper: {eye: {full-colour: 1}}, lower: {eye: {full-colour: 2}}}}
  one: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
  simple: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}}}
nodes:
  bench:
    chains:
      - name: one
        fixtures:
          - {name: S1, build: two}
          - {name: S2, build: one}
          - {name: S3, build: simple}
aspects:
  ours:
    from: speed-signals
    restricting: {upper: red, lower: lunar}
signals:
  S1: {aspects: ours, commands: {1: {normal: stop, reverse: clear}}}
  S2: {commands: {2: {normal: stop, reverse: clear}}}
  S3: {aspects: route-signals, commands: {3: {normal: stop, reverse: clear}}}
"""


def said_of(text: str) -> list[str]:
    """Return what `check` says of a layout, and hold the places that its text marks against it."""
    found = check_text(text.replace(HERE, "")).findings
    assert places(text) == [f"{each.mark.line}:{each.mark.column}" for each in found]
    return [each.message for each in found]


def changed(*pairs: tuple[str, str]) -> str:
    """Return the layout with some passages changed."""
    text = FILE
    for old, new in pairs:
        assert 1 == text.count(old), old
        text = text.replace(old, new)
    return text


def read(text: str) -> Layout:
    """Return a layout about which there is nothing to say."""
    checked = check_text(text)
    assert () == checked.findings, [each.line("f") for each in checked.findings]
    assert checked.layout is not None
    return checked.layout


def signal_of(text: str, name: str) -> Signal:
    """Return one signal of a layout."""
    return next(each for each in read(text).signals if each.name == name)


def plan_of(text: str, name: str) -> DevicePlan:
    """Return what one device can show."""
    return next(each for each in plan_devices(read(text))[0] if each.name == name)


def names_of(signal: Signal) -> list[str]:
    """Return the aspects of a signal."""
    return [row.name for row in signal.aspects]


def test_signal_has_what_is_defined_for_its_heads() -> None:
    """A signal of one head has no aspect that needs two, and one of two none that needs three."""
    one = changed(("S2: {commands", "S2: {aspects: speed-signals, commands"))
    assert ["stop", "restricting", "approach", "advance-approach", "limited-clear", "clear"] == names_of(
        signal_of(one, "S2")
    )
    two = names_of(signal_of(FILE, "S1"))
    assert {"approach-slow", "cab-speed"} <= set(two)
    assert not {"slow-clear", "stop-and-proceed"} & set(two)


def test_signal_shows_what_its_lamps_can() -> None:
    """What nobody orders need not be possible, and cannot be shown."""
    assert {"stop", "clear", DARK} == set(plan_of(FILE, "S3").looks)


def test_changed_aspect_keeps_its_place() -> None:
    """A row that is written anew stands where it stood, and the others are those of the set."""
    plain = signal_of(changed(("aspects: ours", "aspects: speed-signals")), "S1")
    ours = signal_of(FILE, "S1")
    assert names_of(plain) == names_of(ours)
    differing = [
        row.name
        for row, was in zip(ours.aspects, plain.aspects, strict=True)
        if row.heads[1:] != was.heads[1:]
    ]
    words = {row.name: row.heads[1][1][0].word for row in ours.aspects}
    assert "lunar" == words["restricting"]
    assert "red" == words["clear"]
    assert "restricting" in differing


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("new: {upper: blue, lower: blue}", ["stop", "restricting", "clear", "new"]),
        (
            "new: {after: stop, shows: {upper: blue, lower: blue}}",
            ["stop", "new", "restricting", "clear"],
        ),
        (
            "a: {after: stop, shows: {upper: blue, lower: blue}}\n    b: {after: a, shows: {upper: blue, lower: red}}",
            ["stop", "a", "b", "restricting", "clear"],
        ),
        (
            "restricting: {after: clear, shows: {upper: blue, lower: blue}}",
            ["stop", "clear", "restricting"],
        ),
    ],
)
def test_new_aspect_stands_where_it_is_put(rows: str, expected: list[str]) -> None:
    """A new row is the least restrictive, or stands behind the one that it names; a known one is moved there."""
    text = changed(("restricting: {upper: red, lower: lunar}", rows))
    names = names_of(signal_of(text, "S1"))
    assert expected == [name for name in names if name in expected]


def test_set_may_begin_with_a_set_of_the_owner() -> None:
    """A set begins with a shipped one or with one above it, and takes over its flashing and its sequence."""
    text = changed(
        (
            "    from: speed-signals\n",
            "    from: speed-signals\n    flash: {rate: 40}\n    sequence: [stop, approach, approach-medium, clear]\n",
        ),
        (
            "signals:\n",
            "  later:\n    from: ours\n    approach: {upper: yellow, lower: dark}\nsignals:\n",
        ),
        ("aspects: ours", "aspects: later"),
    )
    signal = signal_of(text, "S1")
    assert Flash(rate=40) == signal.flash
    assert ("stop", "approach", "approach-medium", "clear") == signal.sequence
    rows = {row.name: row for row in signal.aspects}
    assert "lunar" == rows["restricting"].heads[1][1][0].word
    assert () == rows["approach"].heads[1][1]


def test_own_set_goes_before_a_shipped_one_of_its_name() -> None:
    """An owner's set that has the name of a shipped one takes its place, and may begin with it."""
    text = changed(("  ours:\n", "  speed-signals:\n"), ("aspects: ours", "aspects: speed-signals"))
    row = next(row for row in signal_of(text, "S1").aspects if row.name == "restricting")
    assert "lunar" == row.heads[1][1][0].word


def test_signal_may_change_a_set_for_itself() -> None:
    """A signal's own table may begin with a set as well; what it adds has to be possible."""
    text = changed(("S2: {commands", "S2: {aspects: {from: plain, call-on: white}, commands"))
    assert ["stop", "restricting", "approach", "clear", "call-on"] == names_of(signal_of(text, "S2"))
    wrong = changed(("S3: {aspects: route-signals", f"S3: {{aspects: {{from: plain, call-on: {HERE}white}}"))
    assert ["S3 cannot show call-on: its head has no lamp 'white'; use one of: green, red"] == said_of(wrong)


@pytest.mark.parametrize(
    ("aspects", "sequence"),
    [
        ("", ("stop", "approach", "clear")),
        ("aspects: {stop: red, clear: green}, ", ()),
        ("aspects: {stop: red, clear: green, sequence: [stop, clear]}, ", ("stop", "clear")),
        ("aspects: {stop: red, clear: green}, sequence: [stop, clear], ", ("stop", "clear")),
        ("aspects: plain, sequence: [stop, clear], ", ("stop", "clear")),
        ("plate: true, ", ("stop-and-proceed", "approach", "clear")),
    ],
)
def test_sequence_comes_from_the_signal_or_its_set(aspects: str, sequence: tuple[str, ...]) -> None:
    """The aspects of an automatic block are the signal's own, its set's, or none."""
    first = "stop-and-proceed" if "plate" in aspects else "stop"
    text = changed(("S2: {commands: {2: {normal: stop,", f"S2: {{{aspects}commands: {{2: {{normal: {first},"))
    assert sequence == signal_of(text, "S2").sequence


def test_number_plate_turns_stop_into_stop_and_proceed() -> None:
    """With a plate a signal has stop-and-proceed with the lights of stop, as its most restrictive aspect.

    Rules 291 and 292 of the eastern North American family: crew training notes.
    """
    plated = changed(
        ("S2: {commands: {2: {normal: stop,", "S2: {plate: true, commands: {2: {normal: stop-and-proceed,")
    )
    assert ["stop-and-proceed", "restricting", "approach", "clear"] == names_of(signal_of(plated, "S2"))
    assert "stop-and-proceed" == plan_of(plated, "S2").rest
    assert plan_of(FILE, "S2").looks["stop"] == plan_of(plated, "S2").looks["stop-and-proceed"]
    assert ["stop", "restricting", "approach", "clear"] == names_of(signal_of(FILE, "S2"))


def test_number_plate_decides_in_a_set_of_the_owner() -> None:
    """Where an owner writes stop and stop-and-proceed with the same lights, the plate decides, and nobody is warned."""
    rows = "aspects: {stop: red, stop-and-proceed: red, clear: green}"
    without = changed(("S2: {commands", f"S2: {{{rows}, commands"))
    assert ["stop", "clear"] == names_of(signal_of(without, "S2"))
    plated = without.replace(f"{rows}, ", f"{rows}, plate: true, ").replace(
        "2: {normal: stop,", "2: {normal: stop-and-proceed,"
    )
    assert ["stop-and-proceed", "clear"] == names_of(signal_of(plated, "S2"))


def test_aspects_with_lights_of_their_own_need_no_plate() -> None:
    """Where an owner gives stop-and-proceed other lights than stop, a signal has both."""
    text = changed(
        (
            "S2: {commands",
            "S2: {aspects: {stop: red, stop-and-proceed: flashing red, clear: green}, commands",
        )
    )
    assert ["stop", "stop-and-proceed", "clear"] == names_of(signal_of(text, "S2"))


def test_aspects_that_cannot_be_told_apart_are_warned_of() -> None:
    """Beside the number plate two aspects that are ordered have to differ, if only by a flash."""
    alike = changed(
        ("S2: {commands", f"S2: {{aspects: {{stop: red, {HERE}danger: red, clear: green}}, commands")
    ).replace(f"{HERE}danger: red", f"danger: {HERE}red")
    assert ["'danger' looks exactly like 'stop' (line 20): nobody can tell them apart"] == said_of(alike)
    read(alike.replace(f"{HERE}red", "flashing red"))


def test_every_signal_can_be_dark() -> None:
    """A signal has a look without any light, whatever its aspects are, and a row of that name is the same."""
    dark = Look((0, 0, 0), (0, 0, 0))
    assert dark == plan_of(FILE, "S2").looks[DARK]
    named = changed(("S2: {commands", "S2: {aspects: {stop: red, clear: green, dark: dark}, commands"))
    assert dark == plan_of(named, "S2").looks[DARK]
    assert ["stop", "clear", "dark"] == names_of(signal_of(named, "S2"))
    ordered = named.replace("2: {normal: stop,", "2: {normal: dark,")
    assert dark == plan_of(ordered, "S2").looks[DARK]


MASTS: Final = changed(
    (
        "  S1: {aspects: ours, commands: {1: {normal: stop, reverse: clear}}}\n",
        (
            "  main: {fixture: S1, heads: [upper], commands: {1: {normal: stop, reverse: clear}}}\n"
            "  call: {fixture: S1, heads: [lower], aspects: {stop: dark, call-on: white}, "
            "commands: {4: {normal: stop, reverse: call-on}}}\n"
        ),
    )
)


def test_two_signals_share_a_mast() -> None:
    """Each of two signals on one fixture lights its own heads, and its aspects are about these."""
    main, call = plan_of(MASTS, "main"), plan_of(MASTS, "call")
    assert ({(0, 0), (0, 1), (0, 2)}, {(0, 3), (0, 4), (0, 5)}) == (set(main.places), set(call.places))
    assert ("upper",) == signal_of(MASTS, "main").heads
    assert {"stop", "restricting", "approach", "clear", DARK} == set(main.looks)


def test_heads_keep_the_order_of_the_mast() -> None:
    """Heads stand from the top down, in whatever order they are named."""
    text = changed(("S1: {aspects: ours", "S1: {heads: [lower, upper], aspects: ours"))
    assert ("upper", "lower") == signal_of(text, "S1").heads


def test_lamp_still_obeys_one_device() -> None:
    """Two signals that both use a head are refused."""
    text = MASTS.replace(
        "  call: {fixture: S1, heads: [lower]", f"  {HERE}call: {{fixture: S1, heads: [upper]"
    )
    assert [
        (
            "call would light lamps of main (line 19), and a lamp obeys one device: give each light its own "
            "`lamps`, or each device its own fixture"
        )
    ] == said_of(text)


MISTAKES: Final = [
    (
        "    from: speed-signals\n",
        f"    from: {HERE}sped-signals\n",
        (
            "no set of aspects above this one is called 'sped-signals'; use one of: plain, speed-signals, "
            "speed-dwarfs, route-signals, gb-three-aspect, gb-four-aspect, junction-indicator, position-light-shunt, "
            "hp-signals, hp-exit-signals, vr-signals, ks-signals; did you mean speed-signals?"
        ),
    ),
    (
        "restricting: {upper: red, lower: lunar}",
        f"new: {{after: {HERE}halt, shows: {{upper: red, lower: lunar}}}}",
        (
            "there is no aspect 'halt' here; use one of: stop, stop-and-proceed, restricting, slow-approach, "
            "slow-clear, medium-approach, approach, approach-slow, medium-approach-medium, medium-clear, "
            "advance-approach, approach-medium, limited-clear, approach-limited, cab-speed, clear"
        ),
    ),
    (
        "restricting: {upper: red, lower: lunar}",
        f"new: {HERE}{{after: stop}}",
        "the key 'shows' is missing here",
    ),
    (
        "restricting: {upper: red, lower: lunar}",
        f"new: {{after: stop, shows: red, {HERE}level: 50%}}",
        "no key 'level' belongs here; use one of: shows, after",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {{stop: red, clear: {{{HERE}after: stop, shows: green}}}}, commands",
        "`after` belongs into a set that begins with `from`: here the aspects stand in their own order",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {HERE}{{flash: {{rate: 50}}}}, commands",
        "aspects are a mapping, the most restrictive first, such as `stop: red`",
    ),
    (
        "S2: {commands",
        f"S2: {{flash: {{rate: {HERE}19}}, commands",
        "19 does not fit: write flashes a minute, 20 to 180; more than 3 a second can bring on a seizure",
    ),
    (
        "S2: {commands",
        f"S2: {{flash: {{rate: {HERE}181}}, commands",
        "181 does not fit: write flashes a minute, 20 to 180; more than 3 a second can bring on a seizure",
    ),
    (
        "    from: speed-signals\n",
        f"    from: speed-signals\n    flash: {{rate: {HERE}fast}}\n",
        "'fast' does not fit: write flashes a minute, 20 to 180; more than 3 a second can bring on a seizure",
    ),
    (
        "S2: {commands",
        f"S2: {{flash: {{lit: {HERE}71%}}, commands",
        "'71%' does not fit: write a whole percentage from 30% to 70%",
    ),
    (
        "S2: {commands",
        f"S2: {{flash: {{lit: {HERE}50}}, commands",
        "50 does not fit: write a whole percentage from 30% to 70%",
    ),
    (
        "S2: {commands",
        f"S2: {{flash: {{{HERE}often: 50}}, commands",
        "no key 'often' belongs here; use one of: rate, lit",
    ),
    (
        "S2: {commands",
        f"S2: {{sequence: [stop, {HERE}caution, clear], commands",
        "there is no aspect 'caution' here; use one of: stop, restricting, approach, clear",
    ),
    (
        "S2: {commands",
        f"S2: {{sequence: [stop, clear, {HERE}approach], commands",
        (
            "with more clear sections ahead the aspect gets better, and 'approach' is not better than 'clear': put "
            "them in the order of the aspects"
        ),
    ),
    (
        "S2: {commands",
        f"S2: {{sequence: {HERE}[stop], commands",
        "too few stand here: at least 2 are needed",
    ),
    (
        "2: {normal: stop,",
        f"2: {{normal: {HERE}stop-and-proceed,",
        "this signal cannot show 'stop-and-proceed': it has no number plate (`plate`)",
    ),
    (
        "S2: {commands",
        "S2: {plate: true, commands",
        "this signal cannot show 'stop': its number plate makes another aspect of it (`plate`)",
    ),
    (
        "S2: {commands",
        f"S2: {{{HERE}plate: true, aspects: {{stop: red, clear: green}}, commands",
        "none of these aspects needs a number plate: leave it out, or add the aspect stop-and-proceed",
    ),
    (
        "S2: {commands",
        f"S2: {{plate: {HERE}591, commands",
        "591 does not fit: write true or false",
    ),
    (
        "3: {normal: stop, reverse: clear}",
        f"3: {{normal: stop, reverse: {HERE}diverging-clear}}",
        "this signal cannot show 'diverging-clear': its rules have none with 1 head",
    ),
    (
        "3: {normal: stop, reverse: clear}",
        f"3: {{normal: stop, reverse: {HERE}approach}}",
        "S3 cannot show approach: its head has no lamp 'yellow'; use one of: green, red",
    ),
    (
        "S3: {aspects: route-signals, commands: {3: {normal: stop, reverse: clear}}}",
        f"S3: {{aspects: gb-four-aspect, commands: {{3: {{normal: danger, reverse: {HERE}preliminary-caution}}}}}}",
        "S3 cannot show preliminary-caution: its head has no lamp 'upper-yellow'; use one of: green, red",
    ),
    (
        "S1: {aspects: ours,",
        f"S1: {{aspects: {HERE}ks-signals,",
        "'ks-signals' says nothing of signals with 2 heads: name those it is for with `heads`",
    ),
    (
        "S1: {aspects: ours,",
        f"S1: {{heads: [{HERE}uper], aspects: ours,",
        "S1 has no head 'uper'; use one of: upper, lower; did you mean upper?",
    ),
    (
        "S1: {aspects: ours,",
        f"S1: {{heads: [upper, lower, {HERE}upper], aspects: ours,",
        "the head 'upper' stands here twice: keep one",
    ),
    (
        "S2: {commands",
        f"S2: {{heads: [{HERE}eye], commands",
        "S2 has one head without a name: leave `heads` out",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {{stop: red, dark: {HERE}yellow, clear: green}}, commands",
        "dark is the aspect without any light: call one with light something else",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {{stop: red, clear: {HERE}flashing}}, commands",
        "'flashing' does not fit: name what flashes, such as flashing green",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {{stop: red, clear: {HERE}alternating}}, commands",
        "'alternating' does not fit: name what flashes, such as alternating green",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {{stop: red, clear: {HERE}flashing dark}}, commands",
        "'flashing dark' does not fit: name what flashes, such as flashing green",
    ),
    (
        "S2: {commands",
        f"S2: {{aspects: {{stop: red, clear: {HERE}flashing green60%}}, commands",
        "'flashing green60%' does not fit: a space is missing, write green 60%",
    ),
]


@pytest.mark.parametrize(("old", "new", "says"), MISTAKES)
def test_mistake_is_one_line_at_its_place(old: str, new: str, says: str) -> None:
    """One mistake gives one line at its place, and nothing else is blamed for it."""
    text = changed((old, new))
    if HERE not in text:  # it shows where it was ordered
        text = text.replace("2: {normal: stop", f"2: {{normal: {HERE}stop")
    assert [says] == said_of(text)


def test_light_does_not_flash() -> None:
    """A light that is no signal cannot be asked to flash."""
    text = (
        changed(
            ("  S2: {commands: {2: {normal: stop, reverse: clear}}}\n", ""),
        )
        + f"lights:\n  S2: {{when: {{accessory: 9}}, shows: {HERE}flashing red}}\n"
    )
    assert ["a light does not flash: say how it looks when it is on"] == said_of(text)


@pytest.mark.parametrize(
    ("rate", "warned"), [(20, True), (34, True), (35, False), (80, False), (81, True), (180, True)]
)
def test_unusual_rate_is_warned_of(rate: int, warned: bool) -> None:
    """A rate that looks like something else than a signal is told as a warning, and the layout runs.

    Common practice, no source: signals flash about once a second.
    """
    checked = check_text(changed(("S2: {commands", f"S2: {{flash: {{rate: {rate}}}, commands")))
    assert checked.layout is not None
    says = f"20:22 {rate} flashes a minute do not look like a signal: usual are 35 to 80"
    assert [(Level.WARNING, says)] * warned == [
        (each.level, f"{each.mark.line}:{each.mark.column} {each.message}") for each in checked.findings
    ]


def test_lamp_may_be_called_flashing_something() -> None:
    """A lamp that has such a name is that lamp."""
    text = changed(
        ("lamps: {green: {channel: 1}", "lamps: {flashing green: {colour: green, channel: 1}"),
        ("S3: {aspects: route-signals", "S3: {aspects: {stop: red, clear: flashing green}"),
    )
    look = plan_of(text, "S3").looks["clear"]
    assert look.lit == look.unlit
