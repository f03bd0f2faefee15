"""The outputs of one layout, all together: frames go out by them, and each is called when it has something to do."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable
from functools import partial
from typing import Protocol

from adapters.contract import FrameOutput
from bridge.commands import Command, PublishFrame
from bridge.events import SECOND, Instant
from bridge.layout.model import Layout
from bridge.service.hosts import OutputHost
from bridge.service.lamp_tests import show_test
from bridge.service.making import Lane, make_outputs
from bridge.service.notes import Notes
from bridge.service.plugins import Adapters


class Turns(Protocol):
    """Whoever drives the outputs: it has the clock, and says when an output may be called."""

    def now(self) -> Instant:
        """Return the present instant."""
        ...

    def may_begin(self, step: Callable[[], None]) -> bool:
        """Return whether something may begin now; else `step` is called when it may."""
        ...

    def release(self) -> None:
        """Know that it is over."""
        ...


class Outputs:
    """All outputs that chains of a layout go to, known by their numbers.

    Attributes:
        names: as the layout file has them.

    Args:
        layout: says which there are.
        adapters: has the kinds.
        host: returns the host of an output, by its number.
        turns: whoever drives them.
        notes: is told of their faults.
    """

    def __init__(
        self,
        layout: Layout,
        adapters: Adapters,
        host: Callable[[int], OutputHost],
        turns: Turns,
        notes: Notes,
    ) -> None:
        self._layout = layout
        self._turns = turns
        self._notes = notes
        made, places = make_outputs(layout, adapters, host)
        self.names = tuple(made)
        self._outputs: tuple[FrameOutput, ...] = tuple(made.values())
        self._places: list[Lane] = places  # for each chain
        self._waking: list[asyncio.TimerHandle | None] = [None] * len(made)
        self._ended = False

    def starting(self) -> dict[str, Callable[[], Awaitable[None]]]:
        """Return what to call so that each begins, by its name."""
        return {name: output.start for name, output in zip(self.names, self._outputs, strict=True)}

    def stopping(self, closing: Iterable[Command] | None) -> dict[str, Callable[[], Awaitable[None]]]:
        """Return what to call so that each sends its last frames and ends; from now on none is called by itself.

        With None they only end.
        """
        self._ended = True
        for timer in self._waking:
            if timer is not None:
                timer.cancel()
        last = [command for command in closing or () if isinstance(command, PublishFrame)]
        calls: dict[str, Callable[[], Awaitable[None]]] = {}
        for name, output in zip(self.names, self._outputs, strict=True):
            frames = tuple(frame.levels for frame in last if self._places[frame.chain][0] is output)
            calls[name] = partial(output.stop, None if closing is None else frames)
        return calls

    def show(self, commands: Iterable[Command]) -> None:
        """Hand over the frames among what the engine wants done."""
        for command in commands:
            if not isinstance(command, PublishFrame):
                continue
            output, lane, number = self._places[command.chain]
            try:
                if command.test:
                    chain = self._layout.chains[command.chain]
                    show_test(output, lane, command, chain, self._notes)
                else:
                    output.show(lane, command.levels)
            except Exception as problem:  # noqa: BLE001 - one output's fault must not keep the others dark
                name = self.names[number]
                text = f"the output {name} failed to show a frame: {problem!r}"
                self._notes.once(f"show {name} {lane} {problem!r}", text, "error")

    def wake(self, number: int) -> None:
        """Call an output's `wake` now, and again when it says."""
        timer = self._waking[number]
        if timer is not None:
            timer.cancel()
            self._waking[number] = None
        if not self._turns.may_begin(partial(self.wake, number)):
            return
        now = self._turns.now()
        try:
            due = self._outputs[number].wake(now)
        except Exception as problem:  # noqa: BLE001 - an output that fails is tried again in a second
            name = self.names[number]
            self._notes.once(f"wake {name} {problem!r}", f"the output {name} failed: {problem!r}", "error")
            due = now + SECOND
        self._turns.release()
        if due is not None and self._waking[number] is None and not self._ended:
            delay = max(due - self._turns.now(), 0) / SECOND
            self._waking[number] = asyncio.get_running_loop().call_later(delay, self.wake, number)

    def wake_soon(self, number: int) -> None:
        """Call an output's `wake` when this turn of the loop is over."""
        if self._ended:
            return
        timer = self._waking[number]
        if timer is not None:
            timer.cancel()
        self._waking[number] = asyncio.get_running_loop().call_later(0, self.wake, number)

    def wake_all_soon(self) -> None:
        """Do so with each of them."""
        for number in range(len(self._outputs)):
            self.wake_soon(number)
