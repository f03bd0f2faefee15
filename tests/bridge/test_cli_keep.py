"""Keeping a fault and trying it again, as their owner does: by the command line, in processes of their own."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bridge.errors import LamproomError
from bridge.record.case_text import read_case
from bridge.service.cases import case_path, try_cases, write_case
from tests.support.driving import layout as layout_of
from tests.support.kept import FAULTS, SOUND, recorded
from tests.support.program import lamproom

ROW = FAULTS["a wrong row"]
DONE = "T1 showed clear from 1:"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with a faulty layout file and the log of a session with 5,000 events before the fault shows itself."""
    file = tmp_path / "withy.yaml"
    file.write_text(ROW.text)
    recorded(tmp_path / "log.jsonl", ROW, before=5000, file=str(file))
    return tmp_path


def keep(place: Path, *words: str, name: str = "cleared-by-61") -> tuple[int, str, str]:
    """Keep what T1 showed at the end; return status, output and errors."""
    begin = ("keep", str(place / "log.jsonl"), "--device", "T1", "--should", "approach", "--name", name)
    result = lamproom(*begin, *(words or ("--from", "#5003")))
    return result.returncode, result.stdout, result.stderr


def test_a_fault_is_kept_and_comes_back_no_more(place: Path) -> None:
    """`keep` cuts 5,000 events to one, `check` fails before the file is mended, and passes after it."""
    file = place / "withy.yaml"
    assert 0 == lamproom("check", str(file)).returncode
    status, output, errors = keep(place)
    assert (0, "") == (status, errors)
    case = place / "withy.cases" / "cleared-by-61.yaml"
    assert output.startswith(f"{case}: 5003 events cut to 1, in ")
    assert DONE in output
    assert f"`lamproom check {file}` fails by this case until the layout file is mended" in output

    before = lamproom("check", str(file))
    line = case.read_text().splitlines().index("should: approach") + 1
    wrong = "T1 should show approach and shows clear again: accessory 61 was ordered reverse (by panel)"
    assert f"{case}:{line}:9: error: {wrong}\n" in before.stdout
    assert before.stdout.endswith(": 1 kept case, 0 passed and 1 failed\n")
    assert 1 == before.returncode

    as_data = lamproom("check", str(file), "--json")
    assert 1 == as_data.returncode
    assert [{"file": str(case), "line": line, "column": 9, "level": "error", "message": wrong}] == [
        each for each in json.loads(as_data.stdout) if each["level"] == "error"
    ]

    file.write_text(SOUND)
    after = lamproom("check", str(file))
    assert (0, "") == (after.returncode, after.stderr)
    assert after.stdout.endswith(": 1 kept case, 1 passed and 0 failed\n")


def test_a_fault_that_is_mended_already_is_kept_against_the_mended_file(place: Path) -> None:
    """The layout file as it is by now judges the cut session, and the case passes from the first day on."""
    (place / "withy.yaml").write_text(SOUND)
    status, output, _errors = keep(place, "--from", "#5003", "--note", "Seen on open day", "--json")
    found = json.loads(output)
    assert (0, 5003, 1) == (status, found["before"], found["after"])
    assert found["now"].endswith("passes: the layout file as it is now shows what it should")
    read = read_case(Path(found["file"]).read_text())
    assert read.case is not None
    assert ("Seen on open day", found["text"]) == (read.case.note, Path(found["file"]).read_text())


def test_a_case_is_never_written_over_by_chance(place: Path) -> None:
    """A name that is taken is refused before anything is cut, and taken again where that is wanted."""
    case = place / "withy.cases" / "cleared-by-61.yaml"
    case.parent.mkdir()
    case.write_text("mine\n")
    refused = f"lamproom: {case}: there is a case of this name already: take another, or add --replace\n"
    assert (2, "", refused) == keep(place)
    assert "mine\n" == case.read_text()
    assert 0 == keep(place, "--from", "#5003", "--replace")[0]
    assert case.read_text().startswith("# `lamproom check`")
    assert [case] == [*case.parent.iterdir()]


def test_what_is_asked_for_wrongly_is_told(place: Path) -> None:
    """A time that is none, an event that is none, a name that is none, a layout file that is gone."""
    assert "'soon' is no time: write " in keep(place, "--from", "soon")[2]
    assert "'order' is no event: write its number, such as '#12'" in keep(place, "--because", "order")[2]
    assert "'../x' is no name for a case, which is a file" in keep(place, name="../x")[2]
    (place / "withy.yaml").rename(place / "other.yaml")
    status, _output, errors = keep(place)
    assert (2, True) == (status, errors.endswith("is not here: say where, with --layout\n"))
    assert 0 == keep(place, "--from", "#5003", "--layout", str(place / "other.yaml"))[0]
    assert (place / "other.cases" / "cleared-by-61.yaml").exists()


def test_cases_that_cannot_be_tried_fail_and_say_why(place: Path) -> None:
    """What cannot be read, or names a device, source or aspect that is not there, comes with its place and a remedy."""
    cases = place / "withy.cases"
    cases.mkdir()
    sound = "device: T1\nshould: stop\nevents: []\n"
    (cases / "a.yaml").write_text(sound)
    (cases / "b.yml").write_text(sound.replace("T1", "T7"))
    (cases / "c.yaml").write_text(sound.replace("stop", "purple"))
    (cases / "d.yaml").write_text(sound.replace("events", "event"))
    (cases / "e.yaml").write_bytes(b"\xff\xfe")
    (cases / "f.yaml").mkdir()
    (cases / "h.yaml").write_text(
        sound.replace("[]", "[{at: 1 s, by: pannel, accessory/61/ordered: reverse}]")
    )
    (cases / "README.md").write_text("What went wrong here.")
    (cases / ".g.yaml.part").write_text("half")
    (cases / ".#a.yaml").write_text("an editor is at work on a.yaml")
    result = lamproom("check", str(place / "withy.yaml"))
    lines = [
        line.removeprefix(f"{cases}/") for line in result.stdout.splitlines() if line.startswith(str(cases))
    ]
    assert 1 == result.returncode
    assert (
        "b.yml:1:9: error: it does not fit the layout file: no device is called 'T7'; use one of: "
        in lines[0]
    )
    assert lines[0].endswith("; mend the case, or delete its file")
    assert lines[1].startswith(
        "c.yaml:2:9: error: it does not fit the layout file: T1 never shows 'purple'; use one of"
    )
    assert lines[2].startswith("d.yaml:1:1: error: `events` is missing")
    assert lines[3].startswith("d.yaml:3:1: error: a case has no 'event'; use one of: ")
    assert "e.yaml:1:1: error: this is not UTF-8 text: save the file as UTF-8" == lines[4]
    assert "f.yaml:1:1: error: cannot be read: Is a directory" == lines[5]
    assert "h.yaml:3:24: error: it does not fit the layout file: no source is called 'pannel'; " in lines[6]
    assert "did you mean panel?" in lines[6]
    assert result.stdout.endswith(": 7 kept cases, 1 passed and 6 failed\n")


def test_a_layout_file_with_errors_leaves_its_cases_untried(place: Path) -> None:
    """They are counted, and said not to have been tried."""
    cases = place / "withy.cases"
    cases.mkdir()
    (cases / "a.yaml").write_text("device: T1\nshould: stop\nevents: []\n")
    (place / "withy.yaml").write_text(SOUND.replace("build: mast", "build: pole", 1))
    result = lamproom("check", str(place / "withy.yaml"))
    assert 1 == result.returncode
    assert result.stdout.endswith("withy.yaml: 1 kept case not tried, since the layout file has errors\n")


@pytest.mark.parametrize("name", ["", "a/b", "..", ".a", "a.", "-a", "a:b", "x" * 65, "a\n", " a"])
def test_no_name_leaves_the_directory(name: str) -> None:
    """A name that is no plain file name is refused."""
    with pytest.raises(LamproomError, match="is no name for a case"):
        case_path("withy.yaml", name)


def test_a_directory_that_takes_nothing_is_told(tmp_path: Path) -> None:
    """Where the directory cannot be made, the message names the file; nothing is left behind."""
    (tmp_path / "withy.cases").write_text("a file in its place")
    case = read_case("device: T1\nshould: stop\nevents: []\n").case
    assert case is not None
    with pytest.raises(LamproomError, match="cannot be written: File exists"):
        write_case(case_path(str(tmp_path / "withy.yaml"), "x"), case)
    with pytest.raises(LamproomError, match="the kept cases cannot be read: Not a directory"):
        try_cases(str(tmp_path / "withy.yaml"), layout_of(SOUND))
    assert ["withy.cases"] == [each.name for each in tmp_path.iterdir()]
