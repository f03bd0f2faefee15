"""The pages for the owner are complete and true: what they show runs, and what there is they name."""

from __future__ import annotations

import inspect
import re
from importlib.metadata import entry_points
from typing import Any, get_args

import pytest
import typer.main
from pydantic import BaseModel

from adapters.outputs.spi_waves import choose
from bridge.chain.frames import byte_of_level
from bridge.check import check_text
from bridge.cli import app
from bridge.layout import read as layout_read
from bridge.layout import schema, schema_track, schema_when
from bridge.layout.chips import CHIP_TYPES
from bridge.layout.conditions import Leaf, leaves
from bridge.layout.crossings import NOT_RAISED, RED
from bridge.layout.dies import Die
from bridge.layout.effects import schema as schema_effects
from bridge.layout.model import Way
from bridge.layout.rules.crossings import CROSSING_RULES, Figure
from bridge.layout.shown import LONGEST_CHANGE, USUAL_CHANGE
from bridge.layout.targets import Wavelength
from bridge.layout.units import seconds
from bridge.light.colours import COLOURS, LED_COLOURS
from bridge.light.pictures import plan_devices
from bridge.light.solving import mix, place
from bridge.logic.selection import LAST_COMMAND, News, Step, Trust
from bridge.service.files import look_at_text
from bridge.service.plugins import EVENTS, OUTPUTS, Adapters
from bridge.service.shipped import shipped_layout
from bridge.trial.find_dialogue import HELP
from tests.support.diagrams import DIAGRAMS, shown
from tests.support.tree import ROOT
from tests.test_documentation import layout_blocks

GUIDE = "config/guide/layout-file.md"
SIGNALS = "config/guide/signals.md"
INTERLOCKING = "config/guide/interlocking.md"
CROSSINGS = "config/guide/crossings.md"
COLOURED = "config/guide/colours.md"
CHANGES = "config/guide/changes.md"
EFFECTS = "config/guide/effects.md"
LIGHTS = "config/guide/lights.md"
WAYS_OUT = "config/guide/outputs.md"
BUILDING = "config/guide/building.md"
TOPICS = "config/guide/topics.md"
MORE_SOURCES = "config/guide/sources.md"
PACKETS = "config/guide/dcc.md"
LCC = "config/guide/lcc.md"
WIRING = "config/guide/wiring.md"
PAGES = (
    "README.md",
    GUIDE,
    SIGNALS,
    LIGHTS,
    INTERLOCKING,
    CROSSINGS,
    COLOURED,
    CHANGES,
    EFFECTS,
    WAYS_OUT,
    BUILDING,
    TOPICS,
    MORE_SOURCES,
    PACKETS,
    LCC,
    WIRING,
    "config/guide/mqtt.md",
)


def page(name: str) -> str:
    """Return the text of a page."""
    return (ROOT / name).read_text(encoding="utf-8")


PIXELS = [chip.name for chip in CHIP_TYPES.values() if not chip.driver]

BLOCKS = [(name, block) for name in PAGES for block in layout_blocks(name)]


@pytest.mark.parametrize(("name", "block"), BLOCKS, ids=[f"{name}:{block.line}" for name, block in BLOCKS])
def test_every_layout_that_a_page_shows_is_without_a_finding(name: str, block: Any) -> None:
    """A reader who copies a whole layout from a page has one that runs, with no finding but what the page shows."""
    looked = look_at_text("layout.yaml", block.text.encode(), Adapters())
    assert looked.layout is not None
    shown_there = page(name).splitlines()
    assert [] == [line for line in looked.lines() if line not in shown_there], f"{name}:{block.line}"


def test_there_are_layouts_to_try() -> None:
    """The search for layouts in the pages finds those of README.md and of the guide."""
    assert 2 <= len([name for name, _block in BLOCKS if name == "README.md"])
    assert 5 <= len([name for name, _block in BLOCKS if name == GUIDE])


def test_the_readme_shows_the_first_steps_as_they_are_shipped() -> None:
    """What README.md calls config/first-steps.yaml is that file."""
    assert shipped_layout("first-steps.yaml") in [block.text for _name, block in BLOCKS]


def keys_of(options: type[BaseModel]) -> set[str]:
    """Return the keys of an adapter, and of what stands below them."""
    found = {field.alias or name for name, field in options.model_fields.items()}
    for field in options.model_fields.values():
        for inner in get_args(field.annotation):
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                found |= keys_of(inner)
    return found


def keys() -> set[str]:
    """Return every key that a layout file may hold."""
    entries = [
        kind
        for module in (schema, schema_track, schema_effects, schema_when)
        for _name, kind in inspect.getmembers(module, inspect.isclass)
        if issubclass(kind, schema.Entry) and kind.__module__ == module.__name__
    ]
    found = {field.alias or name for entry in entries for name, field in entry.model_fields.items()}
    for group, load in ((EVENTS, Adapters().source), (OUTPUTS, Adapters().output)):
        for point in entry_points(group=group):
            found |= keys_of(load(point.name).options)
    return found | set(layout_read.SECTIONS)


def test_every_kind_of_condition_is_shown_at_work() -> None:
    """The layouts of the page about lights have each kind of condition at least once."""
    shown_there: set[type] = set()
    for block in layout_blocks(LIGHTS):
        layout = check_text(block.text).layout
        assert layout is not None
        conditions = [light.when for light in layout.lights]
        conditions += [row.when for zone in layout.zones for row in zone.rows]
        shown_there |= {type(leaf) for condition in conditions for leaf in leaves(condition)}
    assert set(get_args(Leaf)) == shown_there


@pytest.mark.parametrize("name", DIAGRAMS)
def test_the_diagrams_are_those_of_what_runs(name: str) -> None:
    """Each state machine is drawn in its page as its table has it; `python -m tests.support.diagrams` draws it anew."""
    assert DIAGRAMS[name] == shown(name)


@pytest.mark.parametrize("way", [way for way in Way if way is not Way.CUT])
def test_the_page_has_the_times_of_each_way_to_change(way: Way) -> None:
    """How long a change takes unless told otherwise, and at the most, is what runs."""
    row = next(line for line in page(CHANGES).splitlines() if line.startswith(f"| `{way}` |"))
    assert f"{USUAL_CHANGE[way] // 1_000_000} ms" in row
    assert {seconds(each) for each in LONGEST_CHANGE.values()} == {"60 s", "3 s"}


def test_the_page_of_the_wiring_finder_shows_its_help() -> None:
    """What can be answered stands in the page as the finder says it."""
    assert f"```\n{HELP}\n```" in page(WIRING)


def test_every_key_of_the_layout_file_is_explained() -> None:
    """Each key stands in the guide, as code."""
    pages = (
        GUIDE,
        SIGNALS,
        INTERLOCKING,
        CROSSINGS,
        COLOURED,
        EFFECTS,
        LIGHTS,
        WAYS_OUT,
        BUILDING,
        TOPICS,
        MORE_SOURCES,
        PACKETS,
        LCC,
    )
    text = "".join(page(name) for name in pages)
    assert {"first-channel", "repeat-window", "root", "frames-per-second", "entered", "start"} <= keys()
    assert [] == sorted(key for key in keys() if f"`{key}`" not in text)


def test_every_chip_and_colour_is_named() -> None:
    """Each chip and each colour that has a name stands in the guide."""
    text = page(GUIDE)
    assert [] == [chip for chip in CHIP_TYPES if f"`{chip}`" not in text]
    assert [] == [colour for colour in COLOURS if not re.search(rf"\b{colour}\b", text)]


def test_the_bytes_of_every_colour_are_those_that_are_sent() -> None:
    """The guide's tables of colours give the bytes of each kind of pixel at full level, to the last digit."""
    rows = re.findall(r"^\| ([a-z-]+) \|.*((?:\| `[0-9a-f ]+` ){4})\|$", page(COLOURED), re.MULTILINE)
    sent = {
        name: "".join(
            f"| `{' '.join(f'{byte_of_level(mix(target, dies).level(die)):02x}' for die in dies.letters)}` "
            for dies in (CHIP_TYPES[chip].dies for chip in PIXELS)
        )
        for name, target in COLOURS.items()
    }
    assert sent == dict(rows)
    heads = f"| colour | what it is | x, y | {' | '.join(f'`{chip}`' for chip in PIXELS)} |"
    assert page(COLOURED).count(heads) == 2


def test_the_place_of_every_colour_is_the_one_that_is_aimed_at() -> None:
    """The guide's tables of colours give x and y of each colour that has them, to three digits."""
    told = re.findall(r"^\| ([a-z-]+) \|[^|]*\| ([0-9.]+, [0-9.]+) \|", page(COLOURED), re.MULTILINE)
    places = {name: place(target) for name, target in COLOURS.items() if not isinstance(target, Wavelength)}
    assert {name: f"{at.x:.3f}, {at.y:.3f}" for name, at in places.items() if at is not None} == dict(told)


def _die(die: Die | None) -> str:
    """Return a die as the guide writes it."""
    if die is None:
        return ""
    hue = f"{die.kelvin} K" if die.kelvin else f"{die.wavelength / 10:g} nm"
    return f" {hue}, {die.mcd} mcd"


def test_the_dies_of_every_chip_are_those_that_are_reckoned_with() -> None:
    """The guide's table of dies is made from the table of chips."""
    for chip in CHIP_TYPES.values():
        dies = (chip.dies.red, chip.dies.green, chip.dies.blue, chip.dies.white)
        assert f"| `{chip.name}` |{' |'.join(_die(die) for die in dies)} |" in page(COLOURED)


def test_the_light_of_every_led_is_the_one_that_is_reckoned_with() -> None:
    """The guide names the nominal light of each colour of LEDs."""
    told = (
        "a red, orange, amber or yellow one is taken for 200 mcd,\n  green 400, blue 150, lunar and white 500, "
        "warm-white 400"
    )
    assert told in page(COLOURED)
    taken = {colour: led.mcd for colour, led in LED_COLOURS.items()}
    bright = dict.fromkeys(("red", "orange", "amber", "yellow"), 200)
    assert bright | {"green": 400, "blue": 150, "lunar": 500, "white": 500, "warm-white": 400} == taken


def test_every_command_and_option_is_named() -> None:
    """Each command stands in README.md with what it does, and each of its own options."""
    group = typer.main.get_command(app)
    text = page("README.md")
    commands: dict[str, Any] = getattr(group, "commands", {})
    commands_there = {
        "adapters",
        "built",
        "check",
        "chip",
        "compare",
        "demo",
        "import",
        "keep",
        "lamps",
        "node",
        "rehearse",
        "replay",
        "why",
    }
    assert commands_there | {"run", "send"} == set(commands)
    assert [] == [name for name in commands if f"`lamproom {name}" not in text]
    options = {option for command in commands.values() for each in command.params for option in each.opts}
    assert {"--broker", "--retain"} <= options
    assert [] == sorted(each for each in options if each.startswith("--") and f"`{each}`" not in text)


def test_every_adapter_is_named() -> None:
    """Each event source and each output that comes with lamproom stands in the guide."""
    text = page(GUIDE)
    kinds = {point.name for group in (EVENTS, OUTPUTS) for point in entry_points(group=group)}
    assert kinds
    assert [] == [kind for kind in kinds if f"`{kind}`" not in text]


def test_the_rows_of_bits_are_those_that_are_chosen() -> None:
    """The guide's table of SPI has, for each mixture of chips, the row and its widths."""
    table = re.findall(
        r"^\| (`ws28[^|]*) \| ([01/]+ at [0-9.]+ MHz) \| (.*) ns \| (.*) ns \|$", page(WAYS_OUT), re.MULTILINE
    )
    assert 4 == len(table)
    for chips, row, zero, one in table:
        kinds = re.findall(r"`([a-z0-9-]+)`", chips)
        mixtures = [kinds] if "with" not in chips else [[kinds[0], other] for other in kinds[1:]]
        for kinds_of_one in mixtures if "with" in chips or "mixed" in chips else [[kind] for kind in kinds]:
            wave = choose(kinds_of_one).wave
            assert row == str(wave)
            assert f"{zero}, {one}" == ", ".join(f"{width:.0f}" for width in wave.pulses)


STEPS = {
    Step.OBEY: "shows what is ordered",
    Step.KEEP: "goes on",
    Step.REST: "shows its most restrictive aspect",
}
TRUSTS = {
    Trust.UNKNOWN: "knows nothing: most restrictive aspect",
    Trust.TRUSTED: "shows what was ordered last",
}


def test_the_table_of_a_signal_is_the_one_that_runs() -> None:
    """The guide's table of what a signal does with what it hears is made from the table that the engine uses."""
    rows = [
        f"| {words} | {' | '.join(STEPS[LAST_COMMAND[trust, news]] for news in News)} |"
        for trust, words in TRUSTS.items()
    ]
    assert "\n".join(rows) in page(SIGNALS)


def _figure(figure: Figure | None) -> str:
    """Return a value of a region as the guide writes it."""
    if figure is None:
        return "none"
    least, usual, most = (
        "" if each is None else seconds(each) if each > 1000 else str(each)
        for each in (figure.least, figure.usual, figure.most)
    )
    limits = (
        f"{least} to {most}"
        if least and most
        else f"{least} or more"
        if least
        else most and f"{most} or less"
    )
    return f"{usual} ({limits})" if limits else usual


def test_the_rules_of_each_region_are_those_that_run() -> None:
    """The guide's table of crossings is made from the figures that the layout is read with."""
    regions = list(CROSSING_RULES.values())
    lit = {RED: "with the red lights", NOT_RAISED: "while a gate is not up"}
    cells = {
        "": [f"`{each.name}`" for each in regions],
        "`amber`": [_figure(each.amber_time) for each in regions],
        "`flash-rate`": [_figure(each.flash_rate) for each in regions],
        "`start-after`": [_figure(each.gate_start) for each in regions],
        "`lower`": [_figure(each.gate_lowering) for each in regions],
        "`lower` of `exit-gates`": [_figure(each.exit_lowering) for each in regions],
        "`raise`": [_figure(each.gate_raising) for each in regions],
        "red lights": [f"`{each.stop.lights[0]}`" for each in regions],
        "lights before them": [f"`{each.amber.lights[0]}`" if each.amber else "none" for each in regions],
        "arms": [f"`{each.arm.lights[0]}`" if each.arm else "all lamps" for each in regions],
        "arms are lit": [lit[tuple(each.arm_lit)] for each in regions],
    }
    rows = [f"| {head} | {' | '.join(row)} |".replace("|  |", "| |") for head, row in cells.items()]
    assert "\n".join([rows[0], "|---|---|---|---|", *rows[1:]]) in page(CROSSINGS)


def test_rows_of_lights_are_told_apart_by_their_places() -> None:
    """Every aspect of the position-light and colour-position-light signals of the guide lights other lamps."""
    (text,) = [block.text for _name, block in BLOCKS if "Rows of lights" in block.text]
    layout = check_text(text).layout
    assert layout is not None
    plans, _findings = plan_devices(layout)
    rows, coloured = (
        [tuple(level > 0 for level in plan.looks[row.name].lit) for row in signal.aspects]
        for plan, signal in zip(plans, layout.signals, strict=True)
    )
    assert [3, 3, 3] == [sum(lit) for lit in rows]
    assert [2, 2, 2, 3] == [sum(lit) for lit in coloured]
    assert (3, 4) == (len(set(rows)), len(set(coloured)))
