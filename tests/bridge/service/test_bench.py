"""Whoever sits at the bench: answers that come early wait their turn, and never more of them than can be kept."""

from __future__ import annotations

import asyncio
import io
import threading

from bridge.service.bench import LONGEST_ANSWER, MOST_EARLY, Bench, Line
from bridge.service.broker import BrokerAddress


class Endless(io.StringIO):
    """Says yes for ever, as `yes` does behind a pipe."""

    def __init__(self, wanted: int) -> None:
        super().__init__()
        self.read_lines = 0
        self.wanted = wanted
        self.reached = threading.Event()

    def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]  # its stub speaks of bytes
        """Return the number of the line, and say when as many as are wanted have been read."""
        del size
        self.read_lines += 1
        if self.read_lines == self.wanted:
            self.reached.set()
        return f"{self.read_lines}\n"


def bench_with(lines: io.StringIO) -> Bench:
    """Return a bench whose answers come from these lines; it is never connected."""
    return Bench(BrokerAddress("127.0.0.1", 1), "Hollow Green", "layout", lambda _line: None, lines)


async def answers(bench: Bench, number: int) -> list[str | None]:
    """Return so many answers."""
    came = [await bench.next(lines=True, within=10) for _ in range(number)]
    return [each.text for each in came if isinstance(each, Line)]


async def test_no_more_answers_are_read_than_can_be_kept() -> None:
    """The rest waits in the pipe, in its order: nothing is lost, and a pipe without an end fills no memory."""
    lines = Endless(300 + MOST_EARLY)
    bench = bench_with(lines)
    assert [f"{number}\n" for number in range(1, 301)] == await answers(bench, 300)
    assert await asyncio.to_thread(lines.reached.wait, 10)
    assert None is await bench.next(lines=False, within=0.2)
    assert 300 + MOST_EARLY == lines.read_lines


async def test_a_line_that_goes_on_for_long_is_one_answer() -> None:
    """Of it no more is kept than any answer has, and the next line is the next answer; the end comes last."""
    lines = io.StringIO("x" * 50 * LONGEST_ANSWER + "\nn\ny")
    said = await answers(bench_with(lines), 5)
    assert ["x" * LONGEST_ANSWER, "n\n", "y", None, None] == said
