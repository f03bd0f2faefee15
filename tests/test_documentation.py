"""The documentation is complete, and the tree speaks of itself alone."""

from __future__ import annotations

import re
from typing import Final

import pytest

from tests.support.pages import Block, fenced_blocks, opening, undocumented, unwanted
from tests.support.rules import check_all
from tests.support.tree import ROOT, files, sources

LONGEST: Final = 500
"""Lines of a Python file. A file that needs more has two subjects."""

# Written so that this file does not hold the words it looks for.
UNWANTED: Final = {
    "a path of one machine": re.compile(r"(?<![\w.])/(?:wor[k]/|tmp/ven[v]|home/\w|roo[t]/)"),
    "unfinished work belongs in an issue": re.compile(r"\b(?:TO[D]O|FIX[M]E|X[X]X)\b"),
    "a number of an issue means nothing to who reads the file": re.compile(r"\b[Ii]ssue #?\d+"),
}

_PAGE_NAMED: Final = re.compile(r"[\w./-]*\w\.md\b")


def texts() -> dict[str, str]:
    """Return every text file of the checkout by its path from the root."""
    found: dict[str, str] = {}
    for path in files():
        data = path.read_bytes()
        if b"\0" not in data:
            found[path.relative_to(ROOT).as_posix()] = data.decode()
    return found


def layout_blocks(page: str) -> list[Block]:
    """Return the blocks of a page that show a whole layout file: fenced as yaml, with a `layout:` line."""
    blocks = fenced_blocks((ROOT / page).read_text(encoding="utf-8"), "yaml")
    return [block for block in blocks if re.search(r"^layout:", block.text, re.MULTILINE)]


def test_every_public_name_has_a_docstring() -> None:
    """Modules, classes, functions and methods that others may use say what they are."""
    tree = sources("bridge", "adapters")
    assert "bridge/events.py" in tree
    assert [] == check_all(tree, undocumented)


def test_a_missing_docstring_is_found() -> None:
    """Each kind of public name without a docstring is found, and those that need none are let through."""
    source = (
        "class Lamp:\n"
        "    def light(self): ...\n"
        "    def _dim(self): ...\n"
        "    @override\n"
        "    def blank(self): ...\n"
        "    @level.setter\n"
        "    def level(self, value): ...\n"
        "async def find(): ...\n"
        "class _Hidden:\n"
        "    def light(self): ...\n"
    )
    assert [
        "x.py:1: the module has no docstring",
        "x.py:1: Lamp has no docstring",
        "x.py:2: Lamp.light has no docstring",
        "x.py:8: find has no docstring",
    ] == undocumented("x.py", source)


def test_no_file_holds_what_does_not_belong() -> None:
    """No file holds paths of one machine, marks of unfinished work or numbers of issues."""
    tree = texts()
    assert {"pyproject.toml", ".gitignore", "deploy/demo"} <= set(tree)
    assert [] == check_all(tree, lambda path, text: unwanted(path, text, UNWANTED))


@pytest.mark.parametrize(
    "planted", ["see /wo@rk/notes", "in /tmp/ve@nv/bin", "# TO@DO: later", "X@XX", "see iss@ue 7"]
)
def test_what_does_not_belong_is_found(planted: str) -> None:
    """Each unwanted phrase is found at its line."""
    (violation,) = unwanted("x.py", f"\n{planted.replace('@', '')}\n", UNWANTED)
    assert violation.startswith("x.py:2: ")


@pytest.mark.parametrize("text", ["mktemp -d lamproom.XXXXXX", "an issue of paper", "network/work/it"])
def test_what_only_looks_alike_is_let_through(text: str) -> None:
    """A template for a temporary name, or an everyday use of a word, is no violation."""
    assert [] == unwanted("x.py", text, UNWANTED)


def test_every_page_that_is_named_exists() -> None:
    """A Markdown page that any file points to stands where it says: from the root, or beside that file."""
    missing = [
        f"{path}: {name}"
        for path, text in texts().items()
        for name in _PAGE_NAMED.findall(text)
        if not (ROOT / name.lstrip("/")).is_file() and not (ROOT / path).parent.joinpath(name).is_file()
    ]
    assert [] == missing


def test_no_file_is_long() -> None:
    """No Python file is so long that it must have two subjects."""
    lengths = {path: text.count("\n") for path, text in sources().items()}
    assert {} == {path: lines for path, lines in lengths.items() if lines > LONGEST}


def test_the_readme_opens_with_the_job() -> None:
    """README.md says what lamproom is for in one paragraph before its first section."""
    (paragraph,) = opening((ROOT / "README.md").read_text(encoding="utf-8"))
    assert "lamproom" in paragraph.lower()


def test_fenced_blocks_are_found_with_their_lines() -> None:
    """A page's blocks come in order, with language and first line, so that a failure can name its place."""
    page = "# T\n\n```yaml\nlayout: x\n```\n\ntext\n\n```sh\nls\n```\n"
    yaml, shell = Block(4, "yaml", "layout: x\n"), Block(10, "sh", "ls\n")
    assert [yaml, shell] == fenced_blocks(page)
    assert [yaml] == fenced_blocks(page, "yaml")
