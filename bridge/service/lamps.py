"""The lamp test from a terminal: what shall light and where, chain by chain, each confirmed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from bridge.errors import LamproomError, LinkError
from bridge.events import LampTestWay
from bridge.light.pictures import plan_devices
from bridge.service.app import Settings
from bridge.service.bench import ANSWER_WITHIN, LEAVE, NO, YES, Bench, Line, Stop, Told
from bridge.service.lending import at_bench
from bridge.service.plugins import Adapters
from bridge.trial.areas import ALL, Areas

WAYS: Final = (LampTestWay.CHIPS, LampTestWay.CHANNELS, LampTestWay.TOGETHER, LampTestWay.BLINK)
"""What can be asked for from a terminal; pictures are for programs."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What was said on the command line; without `way` it is asked for, again and again."""

    way: LampTestWay | None
    area: str | None
    seconds: int
    yes: bool


async def run_lamps(
    settings: Settings, adapters: Adapters, wanted: Wanted, say: Callable[[str], None]
) -> None:
    """Hold the dialogue, and end every test that it began.

    Raises:
        LamproomError: what is wanted does not fit the layout, or was refused.
        LinkError: the broker cannot be reached, or the bridge is gone.
    """
    areas = Areas(settings.layout, plan_devices(settings.layout)[0])
    if wanted.area is not None:
        _look_at_area(areas, wanted.area, wanted.yes)
    async with at_bench(settings, adapters, say) as bench:
        if bench is None:
            return
        if wanted.way is not None:
            await _Test(bench, say, wanted).run(wanted.way, wanted.area or ALL)
        else:
            await _ask_and_test(bench, areas, wanted, say)


async def _ask_and_test(bench: Bench, areas: Areas, wanted: Wanted, say: Callable[[str], None]) -> None:
    words = ", ".join(WAYS)
    while True:
        way = await bench.question(f"What shall light? {words}; or q to leave")
        if way in (None, "q"):
            return
        if way not in WAYS:
            say(f"{way!r} is none of these")
            continue
        area = wanted.area or await bench.question(
            f"Where? {ALL}, a node, a chain as node/chain, a fixture or a device; nothing for {ALL}"
        )
        if area is None:
            return
        try:
            _look_at_area(areas, area or ALL, yes=wanted.yes)
            going_on = await _Test(bench, say, wanted).run(LampTestWay(way), area or ALL)
        except LinkError:
            raise
        except LamproomError as problem:
            say(str(problem))
        else:
            if not going_on:
                return


def _look_at_area(areas: Areas, word: str, yes: bool) -> None:
    try:
        chains = [part.key for part in areas.find(word).parts]
    except ValueError as problem:
        raise LamproomError(str(problem)) from None
    if yes and len(chains) > 1:
        raise LamproomError(
            f"--yes confirms one chain, and {word} has {len(chains)}: name one of {', '.join(chains)}, or leave it out"
        )


class _Test:
    """One lamp test, chain by chain."""

    def __init__(self, bench: Bench, say: Callable[[str], None], wanted: Wanted) -> None:
        self._bench = bench
        self._say = say
        self._wanted = wanted

    async def run(self, way: LampTestWay, area: str) -> bool:
        """Have one area tested; return whether whoever sits there stays.

        Raises:
            LamproomError: it was refused.
            LinkError: the bridge or the broker is gone, or does not answer.
        """
        bench = self._bench
        mark = bench.begin(f"{way}/{area}", f"{self._wanted.seconds or 'start'}")
        state, chain = "", ""
        answered = True  # there is no question that waits for an answer
        while True:
            # A test that runs needs nobody; whoever is there may end it.
            lines = (state == "waiting" and not answered) or (state == "running" and not bench.ended)
            came = await bench.next(
                lines=lines, within=ANSWER_WITHIN if answered and state != "running" else None
            )
            match came:
                case Told() if not bench.is_ours(came):
                    continue
                case Told(state="off"):
                    bench.mark = ""
                    self._say(came.reason)
                    return True
                case Told() if (came.state, came.more["chain"]) != (state, chain):
                    state, chain = came.state, came.more["chain"]
                    self._begin(came)
                    answered = self._wanted.yes
                case Line():
                    answered = self._answer(came.text, state, chain)
                case Stop():
                    bench.look_at(came)
                    bench.publish("end", mark)
                    await bench.until_off(mark)
                    return False
                case None:
                    raise bench.silent()

    def _begin(self, told: Told) -> None:
        if told.state == "running":
            stop = "" if self._bench.ended else "; Enter ends this chain, q all"
            self._say(f"{told.reason}{stop}")
            return
        self._say(told.warning + ("" if self._wanted.yes else " Begin? y or n"))
        if self._wanted.yes:
            self._bench.publish(f"confirm/{told.more['chain']}", self._bench.mark)

    def _answer(self, text: str | None, state: str, chain: str) -> bool:
        """Pass an answer on, and return whether it was one."""
        word = (text or "").strip().lower()
        bench = self._bench
        if state == "waiting":
            if text is None or word in LEAVE:
                bench.publish("end", bench.mark)
            elif word in YES:
                bench.publish(f"confirm/{chain}", bench.mark)
            elif word in NO:
                bench.publish(f"next/{chain}", bench.mark)
            else:
                self._say("y begins, n leaves this chain out, q ends it all")
                return False
        elif text is not None:
            bench.publish(*(("end", bench.mark) if word in LEAVE else (f"next/{chain}", bench.mark)))
        return True
