"""What is wrong with a text that is no YAML, in words for who wrote it.

The parser tells where it gave up, which is often a line or more behind the slip. So the place is looked for
here: where the bracket or quote was opened, or the line whose colon is missing.
"""

from __future__ import annotations

import re
from typing import Final

import yaml

from bridge.layout.findings import START, Finding, Mark, error, said

LINE_END: Final = re.compile("\r\n|\r|\n")

_COLON: Final = re.compile(r":(?=\s|$)")
_NO_SPACE: Final = re.compile(r"^(?:- +)*([\w-]+):(?=[^\s:/])")
_BESIDE: Final = "here or in the line above"
_BRACKETS: Final = {"while parsing a flow mapping": ("{", "}"), "while parsing a flow sequence": ("[", "]")}


def inside(where: yaml.Mark, lines: list[str]) -> Mark:
    """Return a place of libyaml, which points behind the text where something ends with it."""
    if where.line >= len(lines):
        return Mark(len(lines), len(lines[-1]) + 1)
    return Mark(where.line + 1, min(where.column, len(lines[where.line])) + 1)


def not_yaml(text: str, problem: yaml.MarkedYAMLError) -> Finding:
    """Return what is wrong with a text that the parser has given up, at the place to mend."""
    where = problem.problem_mark or problem.context_mark
    if where is None:
        return error(START, f"this is not YAML: {problem.problem or problem.context}")
    lines = LINE_END.split(text)
    stopped = inside(where, lines)
    began = stopped if problem.context_mark is None else inside(problem.context_mark, lines)
    return _Slip(lines, stopped, began).told(problem.context or "", problem.problem or "")


class _Slip:
    """One text, the place where reading stopped, and the place where what was being read began."""

    def __init__(self, lines: list[str], stopped: Mark, began: Mark) -> None:
        self._lines = lines
        self._stopped = stopped
        self._began = began
        line = lines[stopped.line - 1]
        self._before, self._here = line[: stopped.column - 1], line[stopped.column - 1 :]

    def told(self, context: str, problem: str) -> Finding:
        """Return the finding for what the parser says."""
        if self._here.startswith("\t"):
            return error(self._stopped, "a tab stands here: YAML is indented with spaces alone")
        if "quoted scalar" in context and "end of stream" in problem:
            return error(
                self._began, "the quote that opens here is never closed: put one where the text ends"
            )
        if context in _BRACKETS:
            return self._bracket(_BRACKETS[context])
        if problem == "could not find expected ':'":
            return self._colon_missing(self._began)
        if problem.startswith("mapping values are not allowed"):
            return self._colon()
        if problem == "did not find expected key":
            return self._stranger()
        return self._other(context, problem)

    def _bracket(self, pair: tuple[str, str]) -> Finding:
        opens, closes = pair
        if self._began.line == self._stopped.line:
            return error(
                self._stopped,
                f"a comma, or the {closes} for the {opens} in column {self._began.column}, is missing before this",
            )
        return error(
            self._began,
            f"the {opens} that opens here is never closed: put a {closes} where it ends "
            f"(or a comma is missing; reading stopped in line {self._stopped.line}: look there or in the line above)",
        )

    def _colon_missing(self, mark: Mark) -> Finding:
        words = self._lines[mark.line - 1][mark.column - 1 :].partition(" #")[0].strip()
        if words.startswith(("{", "[")):
            return error(mark, f"a dash or a name with its colon is missing before this, {_BESIDE}")
        unspaced = _NO_SPACE.match(words)
        if unspaced is not None:
            return error(mark, f"a space is missing behind the colon of {said(unspaced[1])}")
        name = words.removeprefix("- ").strip()
        return error(mark, f"a colon is missing behind {said(name)}, {_BESIDE}")

    def _colon(self) -> Finding:
        """A colon where no key can be: its own line has two, or something is amiss in the line above."""
        if _COLON.search(self._before):
            return error(
                self._stopped,
                "this is the second colon of one line: put the text in quotes, or what belongs together in { }",
            )
        above = self._above()
        if above is None:
            return error(self._stopped, f"a colon cannot stand here: look {_BESIDE}")
        line = self._lines[above.line - 1]
        if not _COLON.search(line):
            return self._colon_missing(above)
        first = len(self._before) - len(self._before.lstrip()) + 1
        return error(
            Mark(self._stopped.line, first),
            f"this line is indented too far for the one above (line {above.line}): write both with the same indent, "
            "or end that line with its colon",
        )

    def _above(self) -> Mark | None:
        """Return the beginning of the nearest line above that says something."""
        for number in range(self._stopped.line - 1, 0, -1):
            line = self._lines[number - 1]
            said_there = line.strip()
            if said_there and not said_there.startswith("#"):
                return Mark(number, len(line) - len(line.lstrip()) + 1)
        return None

    def _stranger(self) -> Finding:
        """Something else than the next key of a mapping."""
        if self._here[:1] in ("}", "]"):
            return error(self._stopped, f"this {self._here[0]} closes nothing: delete it, or open it before")
        if self._before.strip():
            return self._quote()
        if self._here.startswith("- "):
            return error(
                self._stopped,
                "an entry of a list stands among keys: indent it below the key that it belongs to, "
                f"{_BESIDE}",
            )
        return error(
            self._stopped,
            "the indent of this line fits none of the lines above it: begin it exactly below the keys of its entry",
        )

    def _quote(self) -> Finding:
        """Text behind a closing quote: a quote is missing or too many, in the nearest line with an odd one."""
        quote = next((each for each in reversed(self._before) if each in "\"'"), '"')
        for number in range(self._stopped.line, 0, -1):
            column = self._lines[number - 1].find(quote)
            if self._lines[number - 1].count(quote) % 2:
                return error(
                    Mark(number, column + 1),
                    f"a quote ({quote}) is missing in this line, or there is one too many",
                )
        return error(
            self._stopped, "nothing can follow the quote that closes before this: delete it, or add a comma"
        )

    def _other(self, context: str, problem: str) -> Finding:
        if problem.startswith("found character that cannot start"):
            return error(self._stopped, f"a value cannot begin with {self._here[:1]!r}: put it in quotes")
        if problem == "found undefined alias":
            return error(
                self._stopped,
                "a value that begins with * stands for another, and there is none: put it in quotes",
            )
        if problem == "but found another document":
            return error(self._stopped, "a line of --- begins another file: a layout is one, so delete it")
        if problem == "did not find expected '-' indicator":
            return error(
                self._stopped,
                f"a dash is missing before this, or the indent is wrong: the list began in line {self._began.line}",
            )
        if problem == "found unknown escape character":
            return error(self._began, "a \\ has a meaning in double quotes: use single quotes here")
        told = ", ".join(part for part in (context, problem) if part)
        return error(
            self._stopped,
            f"this cannot be read as YAML ({told}): look for a bracket, quote, colon or indent that is out of place, "
            f"{_BESIDE}",
        )
