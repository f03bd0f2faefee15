"""One picture of a chain after the other, each with a question about it, over a bridge's lamp test."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic
from typing import Final

from bridge.service.bench import ANSWER_WITHIN, LEAVE, Bench, Line, Stop, Told
from bridge.trial.running import CONFIRM_WITHIN

USUAL: Final = 300
"""Seconds for which a picture stands at most while nobody answers."""


class Showing:
    """The pictures of one chain: confirmed once, and then for as long as whoever sits there goes on answering.

    A bridge takes another picture of the same test for the time that is left. Once half of that is over, the next
    answer begins a test anew: whoever has just answered is there, and has confirmed this chain.
    """

    def __init__(self, bench: Bench, chain: str, seconds: int, say: Callable[[str], None]) -> None:
        """Show nothing yet.

        Args:
            bench: with a bridge.
            chain: `node/chain`.
            seconds: the time limit of a picture that nobody answers.
            say: prints a line.
        """
        self._bench = bench
        self._chain = chain
        self._seconds = seconds
        self._say = say
        self._confirmed = False
        self._began = 0.0

    async def ask(self, picture: bytes, text: str) -> str | None:
        """Show a picture, and return the line that is typed then; None where whoever sits there leaves.

        Where the time is over first, the lamps are given back and the picture is confirmed once more before it returns:
        what was typed meanwhile may be about something else.

        Raises:
            LamproomError: the bridge refuses it.
            LinkError: the bridge or the broker is gone, or does not answer.
        """
        bench = self._bench
        while await self._show(picture):
            self._say(text)
            while True:
                match await bench.next(lines=True):
                    case Line(text=None):
                        return None
                    case Line(text=line):
                        return str(line).strip()
                    case Told() as told if bench.is_ours(told) and told.state == "off":
                        bench.mark, self._confirmed = "", False
                        self._say(told.reason)
                        break
                    case Stop() as stop:
                        bench.look_at(stop)
                        return None
            if await bench.question("Enter goes on with the question, q ends here") in (
                None,
                *LEAVE,
            ):
                return None
        return None

    async def end(self) -> None:
        """Have the lamps given back, if they are not yet."""
        bench = self._bench
        if bench.mark:
            bench.publish("end", bench.mark)
            await bench.until_off(bench.mark)

    async def _show(self, picture: bytes) -> bool:
        """Have a picture shown; return False if whoever sits there does not want it."""
        bench = self._bench
        what = f"picture/{self._chain}"
        if bench.mark and monotonic() - self._began < self._seconds / 2:
            bench.publish(what, f"{picture.hex()} {self._seconds} {bench.mark}")
            return True
        if bench.mark:
            bench.publish("end", bench.mark)
        mark = bench.begin(what, f"{picture.hex()} {self._seconds}")
        told = await self._until("waiting")
        if told is None:
            return False
        if not self._confirmed:
            asked = monotonic()
            if not await bench.agrees(f"{told.warning} Begin?"):
                return False
            self._confirmed = True
            if (
                monotonic() - asked > CONFIRM_WITHIN - ANSWER_WITHIN
            ):  # the bridge may have stopped waiting for it
                return await self._show(picture)
        bench.publish(f"confirm/{self._chain}", mark)
        if await self._until("running") is None:
            return False
        self._began = monotonic()
        return True

    async def _until(self, state: str) -> Told | None:
        """Wait until the bridge has said this of our test; None if whoever sits there leaves meanwhile."""
        bench = self._bench
        while True:
            match await bench.next(lines=False, within=ANSWER_WITHIN):
                case Told() as told if bench.is_ours(told) and told.state == state:
                    return told
                case Stop() as stop:
                    bench.look_at(stop)
                    return None
                case None:
                    raise bench.silent()
