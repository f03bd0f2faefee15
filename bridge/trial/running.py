"""The lamp test of one layout: who asked for it, how far it has come, and what it lays over which chain.

It never touches aspects, locks, reports of devices or the logic: these go on beneath it, and when it ends the chain
shows what they have come to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

from bridge.chain.timing import newest_frame_instant
from bridge.commands import Cause, PublishFrame, Told
from bridge.events import (
    SECOND,
    Event,
    Instant,
    LampTestAsked,
    LampTestConfirmed,
    LampTestEnded,
    LampTestWay,
    LinkState,
    SourceReported,
)
from bridge.layout.findings import count
from bridge.layout.model import Layout
from bridge.light.plans import DevicePlan
from bridge.trial.areas import Area, Areas, Part
from bridge.trial.pictures import Show
from bridge.trial.table import LAMP_TEST, Heard, Standing, Step

SUBJECT: Final = "lamp-test"
"""Under which it is told of."""

USUAL: Final = 60
"""Seconds that each chain is tried for at the least, unless somebody says how long. What takes longer to show
everything once is shown once."""

LONGEST: Final = 3600
"""Seconds that may be asked for: a test that was forgotten must come to an end."""

_OWN: Final = frozenset({LampTestAsked, LampTestConfirmed, LampTestEnded, SourceReported})
"""Events that a test may have to do with: all others pass by at once, since every event comes through here."""

CONFIRM_WITHIN: Final = 120
"""Seconds for confirming."""

LONGEST_PICTURE: Final = 65_000
"""Bytes of a picture, as of any frame."""

_WORDS: Final = {
    LampTestWay.CHIPS: "each chip in turn",
    LampTestWay.CHANNELS: "each channel in turn",
    LampTestWay.TOGETHER: "all chips together, through their channels",
    LampTestWay.BLINK: "blinking",
    LampTestWay.PICTURE: "a picture of its own",
}

_SEVERAL: Final = 4
"""So many signals are named in a sentence; of more than these only how many there are."""


class _Test(NamedTuple):
    """What was asked for, how far it has come on which chain, and since when and until when.

    Attributes:
        asked: the wish.
        area: what its word stands for.
        number: of the event that brought it.
        part: which part of the area it has come to.
        standing: waiting or running.
        began: when it began to wait or to run there.
        until: when it is over at the latest.
        show: what it shows there.
    """

    asked: LampTestAsked
    area: Area
    number: int
    part: int
    standing: Standing
    began: Instant
    until: Instant
    show: Show

    @property
    def here(self) -> Part:
        return self.area.parts[self.part]

    @property
    def seconds(self) -> int:
        """How long each chain shows it at most."""
        return self.asked.seconds or min(max(USUAL, -(-self.show.round // SECOND)), LONGEST)


class LampTest:
    """At most one test at a time, over the frames of one layout."""

    def __init__(self, layout: Layout, plans: tuple[DevicePlan, ...]) -> None:
        self.areas = Areas(layout, plans)
        self._layout = layout
        self._test: _Test | None = None
        self._covered: tuple[int, bytes] | None = (
            None  # a chain that shows a test, and what it was given last
        )

    @property
    def covers(self) -> bool:
        """Whether `cover` has something to do: a chain shows a test, or has to be given back."""
        return self._covered is not None or (
            self._test is not None and self._test.standing is Standing.RUNNING
        )

    @property
    def standing(self) -> Standing:
        """How far it has come."""
        return Standing.OFF if self._test is None else self._test.standing

    def concerned(self) -> tuple[str, ...]:
        """Return the devices whose lamps show a test at present."""
        return self._test.here.devices if self._test is not None and self.covers else ()

    # ---- in ------------------------------------------------------------------------------------------------

    def hear(self, event: Event, number: int) -> list[Told]:
        """Take an event; return what there is to tell of it, nothing for one that has to do with something else."""
        if type(event) not in _OWN:
            return []
        match event:
            case LampTestAsked():
                heard = Heard.ANEW if self._is_anew(event) else Heard.ASKED
            case LampTestConfirmed():
                fits = self._test is not None and self._is_here(event.chain, event.mark)
                heard = Heard.CONFIRMED if fits else Heard.ANOTHER
            case LampTestEnded(mark="", chain=""):
                heard = Heard.ENDED
            case LampTestEnded(chain=""):
                fits = self._test is not None and event.mark == self._mark(self._test)
                heard = Heard.ENDED if fits else Heard.ANOTHER
            case LampTestEnded():
                fits = self._test is not None and self._is_here(event.chain, event.mark)
                heard = Heard.PASSED if fits else Heard.ANOTHER
            case SourceReported(state=LinkState.LOST) if (
                self._test and event.source == self._test.asked.source
            ):
                heard = Heard.LOST
            case _:
                return []
        return self._do(LAMP_TEST[self.standing, heard], heard, event, number)

    def _is_anew(self, event: LampTestAsked) -> bool:
        test = self._test
        return (
            test is not None
            and LampTestWay.PICTURE is event.way is test.asked.way
            and (event.mark, event.area) == (test.asked.mark, test.asked.area)
            and event.mark != ""
        )

    def _is_here(self, chain: str, mark: str) -> bool:
        return self._test is not None and (chain, mark) == (self._test.here.key, self._mark(self._test))

    def next_due(self) -> Instant | None:
        """Return when the time for confirming, or for showing, is over; None while there is no test."""
        return None if self._test is None else self._test.until

    def perform(self, at: Instant) -> list[Told]:
        """Take it that the time is over which `next_due` told; return what there is to tell."""
        return self._do(LAMP_TEST[self.standing, Heard.OVER], Heard.OVER, None, 0, at)

    def stop(self, at: Instant, reason: str) -> list[Told]:
        """End it at once, without a frame; return what there is to tell."""
        self._covered = None
        return [] if self._test is None else [self._end(at, reason, 0)]

    # ---- steps ---------------------------------------------------------------------------------------------

    def _do(self, step: Step, heard: Heard, event: Event | None, number: int, at: Instant = 0) -> list[Told]:
        at = at if event is None else event.at
        test = self._test
        if step is Step.KEEP:
            return []
        if step in (Step.ASK, Step.CHANGE) and isinstance(event, LampTestAsked):
            try:
                return self._take(event, number, step)
            except ValueError as problem:
                return [self._refuse(event, str(problem), number)]
        if test is None or step is Step.REFUSE:
            return [] if event is None else [self._refuse(event, self._why_not(event), number)]
        match step:
            case Step.RUN:
                return [self._run(test, at, number)]
            case Step.GO_ON if test.part + 1 < len(test.area.parts):
                return [self._wait(test, test.part + 1, at, number)]
            case _:
                return [self._end(at, _WHY_OVER[test.standing, heard], number)]

    def _take(self, asked: LampTestAsked, number: int, step: Step) -> list[Told]:
        """Take a wish that can be fulfilled.

        Raises:
            ValueError: it cannot; the message says why, and what could.
        """
        if not 0 <= asked.seconds <= LONGEST:
            raise ValueError(f"{asked.seconds} s are too long: ask for {LONGEST} s at most")
        area = self.areas.find(asked.area)
        if asked.way is LampTestWay.BLINK and not area.single:
            raise ValueError(
                f"{asked.area} is no fixture and no device: only one of these blinks, so that no large area flashes"
            )
        picture = self._picture(asked, area)
        test = self._test
        if step is Step.CHANGE and test is not None:
            # Chain and time were confirmed, and stay as they are.
            show = Show(self._layout, asked.way, test.here, picture)
            self._test = test._replace(show=show, asked=replace(asked, seconds=test.asked.seconds))
            return []
        show = Show(self._layout, asked.way, area.parts[0], picture)
        fresh = _Test(asked, area, number, 0, Standing.WAITING, asked.at, asked.at, show)
        return [self._wait(fresh, 0, asked.at, number)]

    def _picture(self, asked: LampTestAsked, area: Area) -> bytes:
        if asked.way is not LampTestWay.PICTURE:
            if asked.picture:
                raise ValueError("bytes belong to a picture, and this is none")
            return b""
        if asked.area not in [chain.key for chain in self._layout.chains]:
            raise ValueError(f"{area.word} is no chain: a picture is of one whole chain, such as node/chain")
        try:
            picture = bytes.fromhex(asked.picture)
        except ValueError:
            raise ValueError("the picture is not written in hexadecimal, two digits a byte") from None
        if not 0 < len(picture) <= LONGEST_PICTURE:
            raise ValueError(f"a picture has 1 to {LONGEST_PICTURE} bytes, and this one has {len(picture)}")
        return picture

    def _wait(self, test: _Test, part: int, at: Instant, number: int) -> Told:
        show = test.show
        if part != test.part:
            show = Show(self._layout, test.asked.way, test.area.parts[part], b"")
        until = newest_frame_instant(at + CONFIRM_WITHIN * SECOND, self._layout.frames_per_second)
        test = test._replace(part=part, standing=Standing.WAITING, began=at, until=until, show=show)
        self._test = test
        here = test.here
        return self._told(
            at,
            f"{_falsely(here)} for up to {test.seconds} s{self._too_short(test)}: it begins when {here.key} is "
            f"confirmed with {self._mark(test)}, within {CONFIRM_WITHIN} s",
            number,
        )

    def _too_short(self, test: _Test) -> str:
        once = -(-test.show.round // SECOND)
        return "" if once <= test.seconds else f" (to show everything once would take {once} s)"

    def _run(self, test: _Test, at: Instant, number: int) -> Told:
        until = newest_frame_instant(at + test.seconds * SECOND, self._layout.frames_per_second)
        test = test._replace(
            standing=Standing.RUNNING,
            began=at,
            until=max(until, at),
        )
        self._test = test
        what = f"{test.asked.area} on {test.here.key}" if test.area.single else test.here.key
        return self._told(
            at, f"{what} shows a lamp test ({_WORDS[test.asked.way]}) for up to {test.seconds} s", number
        )

    def _end(self, at: Instant, reason: str, number: int) -> Told:
        test, self._test = self._test, None
        causes = () if test is None else (test.number, number)
        more = () if test is None else (("mark", self._mark(test)),)
        return Told(
            at,
            SUBJECT,
            "",
            Standing.OFF.value,
            reason,
            tuple(sorted({each for each in causes if each})),
            more,
        )

    def _told(self, at: Instant, reason: str, number: int) -> Told:
        causes = tuple(sorted({each for each in (self._test.number if self._test else 0, number) if each}))
        return Told(at, SUBJECT, "", self.standing.value, reason, causes, self._more())

    def _more(self) -> tuple[tuple[str, str | int], ...]:
        test = self._test
        if test is None:
            return ()
        return (
            ("mark", self._mark(test)),
            ("way", test.asked.way.value),
            ("area", test.asked.area),
            ("chain", test.here.key),
            ("seconds", test.seconds),
            ("signals", ", ".join(test.here.signals)),
        )

    def _mark(self, test: _Test) -> str:
        return test.asked.mark or str(test.number)

    # ---- what is refused -----------------------------------------------------------------------------------

    def _refuse(self, event: Event, why: str, number: int) -> Told:
        """Tell how things stand, as before, and who was refused what."""
        mark = event.mark if isinstance(event, LampTestAsked | LampTestConfirmed | LampTestEnded) else ""
        reason = (
            "there is no lamp test" if self._test is None else f"the one of {self._test.asked.area} goes on"
        )
        more = (*self._more(), ("refused", why), ("refused-mark", mark))
        return Told(event.at, SUBJECT, "", self.standing.value, reason, (number,), more)

    def _why_not(self, event: Event) -> str:
        test = self._test
        if isinstance(event, LampTestAsked) and test is not None:
            doing = "waits to be confirmed" if test.standing is Standing.WAITING else "runs"
            return f"a lamp test of {test.asked.area} {doing} already: end it, or wait until it is over"
        chain = event.chain if isinstance(event, LampTestConfirmed | LampTestEnded) else ""
        mark = event.mark if isinstance(event, LampTestConfirmed | LampTestEnded) else ""
        named = f"{chain} with {mark}" if chain else mark
        if test is None:
            return f"there is no lamp test, so {named} means nothing any more"
        return f"{named} is not what it is about: that is {test.here.key} with {self._mark(test)}"

    # ---- over the frames -----------------------------------------------------------------------------------

    def next_step(self, now: Instant) -> Instant | None:
        """Return the next instant of the frame grid at which the test looks otherwise; None while it stands."""
        test = self._test
        if test is None or test.standing is not Standing.RUNNING:
            return None
        return test.show.next_step(test.began, now)

    def cover(self, frames: Sequence[PublishFrame], own: Sequence[bytes], at: Instant) -> list[PublishFrame]:
        """Lay the test over frames that are about to go out.

        Args:
            frames: those that would go out without a test.
            own: what every chain would have been given last without one.
            at: the present instant.

        Returns:
            The same, with the frame of the chain that shows the test, if that is another than before. A chain that
            shows it no more gets its own frame back first, whatever that is.
        """
        test = self._test if self._test is not None and self._test.standing is Standing.RUNNING else None
        chain = None if test is None else test.here.chain
        before, self._covered = self._covered, None
        given = [frame for frame in frames if frame.chain != chain]
        if before is not None and before[0] != chain:
            back = before[0]
            given = [frame for frame in given if frame.chain != back]
            given.insert(0, PublishFrame(at, back, own[back], Cause.TEST))
        if test is None or chain is None:
            return given
        levels = test.show.over(own[chain], at - test.began)
        self._covered = (chain, levels)
        if self._covered != before:
            cause = next((frame.cause for frame in frames if frame.chain == chain), Cause.TEST)
            given.append(PublishFrame(at, chain, levels, cause, test=True))
        return given

    def present(self, own: tuple[bytes, ...]) -> tuple[bytes, ...]:
        """Return what every chain was given last, where `own` is what it would have been given without a test."""
        if self._covered is None:
            return own
        chain, levels = self._covered
        return (*own[:chain], levels, *own[chain + 1 :])

    # ---- snapshots -----------------------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any] | None:
        """Return how far it has come, as plain data."""
        test = self._test
        covered = None if self._covered is None else [self._covered[0], self._covered[1].hex()]
        if test is None:
            return None if covered is None else {"covered": covered}
        asked = test.asked
        return {
            "covered": covered,
            "at": asked.at,
            "source": asked.source,
            "way": asked.way.value,
            "area": asked.area,
            "seconds": asked.seconds,
            "picture": asked.picture,
            "mark": asked.mark,
            "number": test.number,
            "part": test.part,
            "standing": test.standing.value,
            "began": test.began,
            "until": test.until,
        }

    def restore(self, data: dict[str, Any] | None) -> None:
        """Take back what `snapshot` gave, of a layout that is the same.

        Raises:
            KeyError, IndexError, TypeError, ValueError: it is none of this layout.
        """
        self._test = self._covered = None
        if data is None:
            return
        if data["covered"] is not None:
            chain, levels = data["covered"]
            self._covered = (range(len(self._layout.chains))[chain], bytes.fromhex(levels))
        if "area" not in data:
            return
        asked = LampTestAsked(
            at=int(data["at"]),
            source=str(data["source"]),
            way=LampTestWay(data["way"]),
            area=str(data["area"]),
            seconds=int(data["seconds"]),
            picture=str(data["picture"]),
            mark=str(data["mark"]),
        )
        area = self.areas.find(asked.area)
        part = range(len(area.parts))[data["part"]]
        show = Show(self._layout, asked.way, area.parts[part], self._picture(asked, area))
        standing, began, until = Standing(data["standing"]), int(data["began"]), int(data["until"])
        self._test = _Test(asked, area, int(data["number"]), part, standing, began, until, show)


def _falsely(part: Part) -> str:
    """Return what becomes of signals, as the beginning of a sentence."""
    if not part.signals:
        return f"no signal hangs on what is tried of {part.key}, and lamps will not show what they should"
    some = ", ".join(part.signals[:_SEVERAL])
    rest = len(part.signals) - _SEVERAL
    names = f"{some} and {count(rest, 'other signal')}" if rest > 0 else some
    return f"{names} will show false aspects on {part.key}"


_GIVEN_BACK: Final = "its lamps show what the layout says again"

_WHY_OVER: Final = {
    (Standing.WAITING, Heard.PASSED): "the lamp test was ended before the last chain was confirmed",
    (Standing.WAITING, Heard.ENDED): "the lamp test was ended before it was confirmed",
    (Standing.WAITING, Heard.LOST): "whoever asked for the lamp test can no longer be heard",
    (Standing.WAITING, Heard.OVER): f"nobody confirmed the lamp test within {CONFIRM_WITHIN} s",
    (Standing.RUNNING, Heard.PASSED): f"the lamp test is over: {_GIVEN_BACK}",
    (Standing.RUNNING, Heard.ENDED): f"the lamp test was ended: {_GIVEN_BACK}",
    (Standing.RUNNING, Heard.LOST): f"whoever asked for the lamp test can no longer be heard: {_GIVEN_BACK}",
    (Standing.RUNNING, Heard.OVER): f"the time of the lamp test is over: {_GIVEN_BACK}",
}
