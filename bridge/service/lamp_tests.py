"""What the runner does for lamp tests: their pictures to the outputs, and what happens to them into the notes."""

from __future__ import annotations

from typing import Final

from adapters.contract import FrameOutput
from bridge.commands import PublishFrame, Told
from bridge.layout.model import Chain
from bridge.service.notes import Notes

SUBJECT: Final = "lamp-test"
"""What a lamp test is told of as."""

NONE_YET: Final = Told(0, SUBJECT, "", "off", "there was none since the start", ())
"""What is told at the start. A bridge that was killed in the midst of a test left its words behind with the broker,
and the test is not taken up."""


def show_test(output: FrameOutput, lane: int, frame: PublishFrame, chain: Chain, notes: Notes) -> None:
    """Show a picture of a lamp test.

    For an output that has room for just the chain of the layout file a picture of another length is cut, or filled up
    with zeros, and that is said once.
    """
    levels = frame.levels
    if len(levels) != chain.length and not getattr(output, "any_length", False):
        levels = levels[: chain.length].ljust(chain.length, b"\0")
        notes.once(
            f"length of test {chain.key} {len(frame.levels)}",
            f"a lamp test of {chain.key} has {len(frame.levels)} bytes, and the output {chain.output} has room for "
            f"just {chain.length}, as in the layout file: it was cut or filled up with zeros",
        )
    output.show(lane, levels, test=True)


def note_test(told: Told, notes: Notes) -> None:
    """Note what happened to a lamp test, or which wish was refused."""
    refused = dict(told.more).get("refused")
    if refused is not None:
        notes.say(f"lamp test refused: {refused}", "warning")
    else:
        notes.say(f"lamp test: {told.reason}")
