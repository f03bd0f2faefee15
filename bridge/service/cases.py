"""The kept cases of a layout file: the directory beside it, writing one there, and trying all of them."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from bridge.errors import LamproomError
from bridge.layout import Finding, Layout
from bridge.layout.findings import START, error, said
from bridge.layout.units import MAX_NAME
from bridge.record.case_text import case_text, read_case
from bridge.record.cases import Case, MisfitError, judge
from bridge.record.lines import Header
from bridge.record.reader import read_log

SUFFIXES: Final = (".yaml", ".yml")

_FIT: Final = frozenset(" -_.")


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of trying all kept cases of a layout file.

    Attributes:
        passed: how many show what they should.
        failed: those that do not, or cannot be tried: file, place and what is wrong.
    """

    passed: int
    failed: tuple[tuple[str, Finding], ...]


def case_files(layout_file: str) -> tuple[Path, ...]:
    """Return the files of the cases that are kept beside a layout file, in the order of their names.

    Raises:
        LamproomError: the directory cannot be read.
    """
    directory = _directory(layout_file)
    try:
        # What begins with a dot is some editor's or file system's own.
        found = (each for each in directory.iterdir() if not each.name.startswith("."))
        return tuple(sorted(each for each in found if each.suffix in SUFFIXES))
    except FileNotFoundError:
        return ()
    except OSError as problem:
        raise LamproomError(f"{directory}: the kept cases cannot be read: {problem.strerror}") from None


def try_cases(layout_file: str, layout: Layout) -> Tried:
    """Try every case that is kept beside a layout file.

    Raises:
        LamproomError: the directory cannot be read.
    """
    passed = 0
    failed: list[tuple[str, Finding]] = []
    for path in case_files(layout_file):
        found = _try(path, layout)
        failed += [(str(path), each) for each in found]
        passed += not found
    return Tried(passed, tuple(failed))


def _try(path: Path, layout: Layout) -> tuple[Finding, ...]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as problem:
        return (error(START, f"cannot be read: {problem.strerror}"),)
    except UnicodeDecodeError:
        return (error(START, "this is not UTF-8 text: save the file as UTF-8"),)
    read = read_case(text)
    if read.case is None:
        return read.findings
    try:
        wrong = judge(layout, read.case)
    except MisfitError as problem:
        text = f"it does not fit the layout file: {problem}; mend the case, or delete its file"
        return (error(read.document.at(problem.where), text),)
    return (error(read.document.at(("should",)), wrong),) if wrong else ()


def case_path(layout_file: str, name: str) -> Path:
    """Return where a case of this name is kept.

    Raises:
        LamproomError: it is no name for a file.
    """
    plain = "".join(each for each in name if each.isalnum() or each in _FIT)
    if not name or plain != name or len(name) > MAX_NAME or name[0] in "-. " or name[-1] in ". ":
        raise LamproomError(
            f"{said(name)} is no name for a case, which is a file: write up to {MAX_NAME} letters, digits, - and _, "
            "such as cleared-over-points"
        )
    return _directory(layout_file) / f"{name}{SUFFIXES[0]}"


def write_case(path: Path, case: Case, *, replace: bool = False) -> None:
    """Write a case into its file.

    Args:
        path: what `case_path` gave.
        case: what is written.
        replace: write over the one that is there.

    Raises:
        LamproomError: there is one already, or it cannot be written.
    """
    data = case_text(case).encode()
    unfinished = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(exist_ok=True)
        look_free(path, replace=replace)
        unfinished.write_bytes(data)
        unfinished.replace(path)
    except OSError as problem:
        with suppress(OSError):
            unfinished.unlink()
        raise LamproomError(f"{path}: cannot be written: {problem.strerror}") from None


def look_free(path: Path, *, replace: bool) -> None:
    """Refuse to write over a case unless that is wanted.

    Raises:
        LamproomError: there is one.
    """
    if path.exists() and not replace:
        raise LamproomError(f"{path}: there is a case of this name already: take another, or add --replace")


def layout_file_of(log: Path) -> str:
    """Return the name of the layout file that was driven when a log was written.

    Raises:
        DecodeError: the log cannot be read.
        LamproomError: that file is not here.
    """
    header = next(read_log(log)).line
    file = header.file if isinstance(header, Header) else ""
    if not Path(file).is_file():
        raise LamproomError(
            f"the layout file of this session, {said(file)}, is not here: say where, with --layout"
        )
    return file


def _directory(layout_file: str) -> Path:
    return Path(layout_file).with_suffix(".cases")
