"""The pretend railroad: its trains, and the people who work and watch them, as the messages that they cause."""

from __future__ import annotations

import json

from bridge.errors import LamproomError
from bridge.events import MILLISECOND, SECOND, BlockState, PowerState
from bridge.layout.model import Layout
from bridge.service.demo import timetable, troubles, valley_timetable
from bridge.service.demo.line import Line
from bridge.service.demo.people import join_people
from bridge.service.demo.stage import Person, Stage
from bridge.service.demo.valley import Valley


def railroad(layout: Layout, seed: int) -> Stage:
    """Return the stage of an endless day on the invented lines, with everybody in place.

    Args:
        layout: says by which accessory an aspect is ordered, and what switches a light.
        seed: another one gives another day.

    Raises:
        LamproomError: the layout is not that of the lines: a signal, an aspect or a block is missing.
    """
    stage = Stage(layout, seed)
    _look_for_signals(layout, stage)
    stage.join(_opening(stage))
    stage.join(_clock(stage))
    Line(stage)
    join_people(stage, layout)
    Valley(stage, layout)
    stage.join(troubles.detector_faults(stage, stage.random("detectors")), troubles.FIRST_FAULT)
    stage.join(troubles.short_circuits(stage, stage.random("power")), troubles.FIRST_SHORT)
    return stage


def _look_for_signals(layout: Layout, stage: Stage) -> None:
    legs = valley_timetable.LEGS
    needed = {(step.signal, step.aspect) for step in timetable.STEPS}
    needed |= {(leg.signal, leg.order) for leg in legs if leg.order}
    needed |= {(signal, timetable.STOP) for signal, _aspect in needed}
    for signal, aspect in sorted(needed):
        if not stage.can_order(signal, aspect):
            raise LamproomError(f"the pretend trains need a signal {signal} that can be ordered to {aspect}")
    missing = {leg.signal for leg in legs} - {signal.name for signal in layout.signals}
    missing_blocks = set(valley_timetable.BLOCKS) - {block.name for block in layout.blocks}
    for what, names in (("signal", missing), ("block", missing_blocks)):
        if names:
            raise LamproomError(f"the pretend trains need a {what} {min(names)}")


def _opening(stage: Stage) -> Person:
    for district in (*timetable.DISTRICTS, *valley_timetable.DISTRICTS):
        stage.power(district, PowerState.ON)
    taken = {duty.rounds[0].start for duty in timetable.DUTIES}
    taken |= {working.start for working in valley_timetable.WORKINGS}
    for block in (*timetable.BLOCKS, *valley_timetable.BLOCKS):
        stage.block(block, BlockState.OCCUPIED if block in taken else BlockState.CLEAR)
    for signal in (*timetable.SIGNALS, *valley_timetable.INTERLOCKED):
        stage.aspect(signal, timetable.STOP)
        yield 50 * MILLISECOND


def _clock(stage: Stage) -> Person:
    """Tell the model clock now and then, as a clock of a layout does: whoever hears it reckons on by its rate."""
    seconds = timetable.CLOCK_STARTS
    while True:
        hour, minute = divmod(seconds // 60 % (24 * 60), 60)
        told = {"time": f"{hour:02}:{minute:02}", "rate": timetable.CLOCK_RATE, "running": True}
        stage.say("clock", json.dumps(told), retain=True)
        seconds += timetable.CLOCK_TOLD_EACH
        yield timetable.CLOCK_TOLD_EACH * SECOND // timetable.CLOCK_RATE
