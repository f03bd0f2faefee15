"""What the adapters that are installed say of a layout file."""

from __future__ import annotations

from importlib.metadata import entry_points
from pathlib import Path

import pytest

from bridge.service.files import look_at_text
from bridge.service.plugins import EVENTS, OUTPUTS, Adapters
from tests.support.as_built import YARD
from tests.support.layouts import changed


def found(old: str, new: str) -> list[str]:
    """Return the errors that are found in the sound layout with one passage changed."""
    lines = look_at_text("f", changed(old, new).encode(), Adapters()).lines()
    return [line for line in lines if ": error: " in line]


def kinds(group: str) -> str:
    """Return the kinds that are installed, as a message lists them."""
    return ", ".join(point.name for point in entry_points(group=group))


def test_a_key_that_a_source_does_not_know_is_told_with_all_that_it_knows() -> None:
    """The keys of the adapter stand in the list, and with them those that every source has."""
    keys = "kind, repeat-window, refresh-every, lost-after, root"
    assert [f"f:6:21: error: no key 'topic' belongs here; use one of: {keys}"] == found(
        "{kind: mqtt, repeat-window: 500 ms}", "{kind: mqtt, topic: layout}"
    )


def test_an_adapter_that_is_not_installed_is_told() -> None:
    """A source or an output of an unknown kind is an error where its kind is named."""
    assert [f"f:6:15: error: no event source is called 'bus'; use one of: {kinds(EVENTS)}"] == found(
        "{kind: mqtt, repeat-window: 500 ms}", "{kind: bus}"
    )
    assert [f"f:5:25: error: no frame output is called 'serial'; use one of: {kinds(OUTPUTS)}"] == found(
        "sources:\n", "outputs: {cable: {kind: serial}}\nsources:\n"
    )


def test_a_key_that_an_output_does_not_know_is_told_in_its_line() -> None:
    """As for a source; also of an output that no node uses, since its owner wrote it for a purpose."""
    assert ["f:6:23: error: no key 'baud' belongs here; there is only kind"] == found(
        "sources:\n", "outputs:\n  cable: {kind: mqtt, baud: 9600}\nsources:\n"
    )


def test_an_output_that_a_node_names_is_one_of_the_section() -> None:
    """`mqtt` is always there, and may be written anew; one with an error of its own blames no node."""
    text = "outputs: {cable: {kind: mqtt}}\nsources:\n"
    assert [] == found("sources:\n", text)
    node = "  tarn:\n    output: cable\n"
    looked = look_at_text("f", changed("  tarn:\n", node).replace("sources:\n", text).encode(), Adapters())
    assert looked.layout is not None
    assert {"cable", "mqtt"} == {output.name for output in looked.layout.outputs}
    assert "cable" == looked.layout.chains[0].output
    broken = changed("  tarn:\n", node).replace("sources:\n", "outputs: {cable: {knd: mqtt}}\nsources:\n")
    errors = [line for line in look_at_text("f", broken.encode(), Adapters()).lines() if ": error: " in line]
    assert 1 == len({line.split(":")[1] for line in errors}), errors


def planned_universes(first: int, second: int, yard: str = "broken: 1") -> list[str]:
    """Return what is found of two chains by E1.31, the second of them planned, from these universes on."""
    text = YARD.replace("  tarn:\n", "  tarn:\n    output: desk\n").replace(
        "  hill:\n", "  hill:\n    output: desk\n"
    )
    chains = f"{{tarn/yard: {{universe: {first}}}, hill/line: {{universe: {second}}}}}"
    text += f"outputs:\n  desk: {{kind: e131, chains: {chains}}}\n"
    looked = look_at_text("f", text.replace("broken: 1", yard).encode(), Adapters())
    assert looked.layout is not None, looked.lines()
    return [line for line in looked.lines() if "of E1.31" in line or "hill/line" in line]


def test_a_chain_that_is_planned_is_spoken_of_before_it_is_there() -> None:
    """Its universe is given already, and nobody complains of it; the output that runs has only what is built."""
    assert [] == planned_universes(1, 2)


def test_universes_that_would_overlap_once_built_are_a_warning() -> None:
    """What runs now goes on running, and its owner learns in time."""
    [line] = planned_universes(1, 1)
    assert ": warning: once what is planned is built: universe 1 of E1.31" in line


def test_a_plan_with_an_error_does_not_keep_what_is_built_from_running() -> None:
    """The chain that it is about is spoken of in the output all the same."""
    text = YARD.replace("  hill:\n", "  hill:\n    output: desk\n")
    text = text.replace("planned: true}", "shares: A, planned: true}", 1)
    text += "outputs:\n  desk: {kind: e131, chains: {hill/line: {universe: 2}}}\n"
    looked = look_at_text("f", text.encode(), Adapters())
    assert looked.layout is not None, looked.lines()
    assert looked.planned is None


@pytest.fixture
def strangers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Install some packages of strangers: each has a module, a version and an entry point."""
    good = "class Bus:\n options = Options\n async def listen(self): ...\n def decode(self, raw, at): ...\n"
    texts = {
        "good": f"from adapters.contract import Options\n{good}",
        "older": "from adapters.contract import Options\nclass Bus:\n options = Options\n def start(self): ...\n",
        "torn": "import no_such_module_anywhere\n",
        "exits": "raise SystemExit(3)\n",
        "bare": "class Bus: ...\n",
    }
    for name, text in texts.items():
        install(tmp_path, name, name, text)
    install(tmp_path, "twin", "mqtt", texts["good"])
    monkeypatch.syspath_prepend(tmp_path)


def install(folder: Path, package: str, kind: str, text: str) -> None:
    """Put down what an installed package is, to Python: a module, and its metadata."""
    (folder / f"stranger_{package}.py").write_text(text)
    info = folder / f"stranger_{package}-2.1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: stranger-{package}\nVersion: 2.1\n")
    (info / "entry_points.txt").write_text(f"[lamproom.events]\n{kind} = stranger_{package}:Bus\n")


@pytest.mark.usefixtures("strangers")
def test_every_adapter_is_listed_with_its_origin_and_its_fault() -> None:
    """One that cannot be used says why, and the others are listed as if it was not there."""
    listed = [each.lines() for each in Adapters().installed()]
    found = {lines[0].split(",")[0].split()[-1]: lines for lines in listed if "stranger" in lines[0]}
    assert {"good", "older", "torn", "exits", "bare", "mqtt"} == set(found)
    head = "event source good, from stranger-good 2.1 (lamproom.events, stranger_good:Bus)"
    assert [head] == found["good"]
    assert "no `listen`, no `decode`: it does not fit this version of lamproom" in found["older"][-1]
    assert "error: it cannot be loaded: ModuleNotFoundError: No module named" in found["torn"][-1]
    assert "error: it cannot be loaded: SystemExit: 3" in found["exits"][-1]
    assert "stranger_bare:Bus is no adapter" in found["bare"][-1]
    twins = [lines for lines in listed if lines[0].startswith("event source mqtt,")]
    assert ["  error: it is offered by lamproom and stranger-twin: uninstall all of them but one"] * 2 == [
        lines[-1] for lines in twins
    ]


@pytest.mark.usefixtures("strangers")
def test_a_stranger_with_a_fault_is_told_where_he_is_named() -> None:
    """And nowhere else: a layout that names another is as sound as before."""
    assert [] == found("{kind: mqtt, repeat-window: 500 ms}", "{kind: good}")
    [torn] = found("{kind: mqtt, repeat-window: 500 ms}", "{kind: torn}")
    assert torn.startswith("f:6:15: error: the event source 'torn' cannot be loaded: ModuleNotFoundError")
    [twins] = found("{kind: mqtt, repeat-window: 500 ms}", "{kind: mqtt, root: layout}")
    assert "the event source 'mqtt' is offered by lamproom and stranger-twin" in twins


def test_a_key_is_listed_with_its_default() -> None:
    """As the layout file would have it; what must be given says so."""
    [clock] = [each for each in Adapters().installed() if each.kind == "model-clock"]
    assert {"start": "06:00", "rate": "1", "running": "true"} == clock.options
    [file] = [each for each in Adapters().installed() if each.kind == "file"]
    assert "  path: must be given" in file.lines()


def test_defaults_are_listed_as_a_layout_file_has_them() -> None:
    """A word stays a word, a span keeps its unit, and a list is one of YAML."""
    lines = [line for each in Adapters().installed() for line in each.lines()]
    assert {
        "  clock: fast",
        "  debounce: 20 ms",
        "  takes: [accessory, aspect, block, power, button, use, clock, lamp-test]",
    } <= {*lines}
