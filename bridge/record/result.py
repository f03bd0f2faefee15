"""What came of a replay, as data and as sentences."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from bridge.events import Instant
from bridge.layout.findings import count
from bridge.layout.model import Chain, Layout
from bridge.record.words import instant_text


@dataclass(frozen=True, slots=True)
class Difference:
    """Where a replay first came out unlike its log.

    Attributes:
        line: of the log.
        at: instant.
        what: one sentence.
        event: number of the event that caused it or came last before it; 0 where there was none.
        cause: that event in words, or empty.
        chain: as `node/chain`, or empty where it is about no chain.
        offset: of the first byte that differs, or None where that is not known.
        recorded: that byte in the log.
        replayed: that byte in the replay.
        position: of the chip that the byte belongs to.
        fixture: that the byte belongs to, or empty.
        lamp: of that fixture, or empty.
    """

    line: int
    at: Instant
    what: str
    event: int = 0
    cause: str = ""
    chain: str = ""
    offset: int | None = None
    recorded: int | None = None
    replayed: int | None = None
    position: int | None = None
    fixture: str = ""
    lamp: str = ""


@dataclass(frozen=True, slots=True)
class ReplayResult:
    """What a replay did, and how it compares with the log.

    Attributes:
        file: the log.
        layout: name of the layout.
        started: wall time at which the session began.
        events: the number that the last one has in the session.
        refused: inputs that meant nothing.
        decisions: how many were compared.
        frames: how many were made, moving ones among them.
        instants: how many were rendered.
        length: of the session, nanoseconds.
        ended: whether the log has its clean end.
        skipped: how many of these were not played, because what comes next was taken up from a snapshot.
        recorded: whether it is still being recorded, so that an end is yet to come.
        goes_on: whether there is more in the log than was wanted, so that its end was not looked at.
        digest: of all frames that were made, in their order; empty where only decisions were compared.
        gaps: how often something is missing or broken, so that what follows begins anew at a snapshot.
        difference: the first one, or None where everything came out the same.
        notes: what else an owner should know.
    """

    file: str
    layout: str
    started: str
    events: int
    refused: int
    decisions: int
    frames: int
    instants: int
    length: Instant
    ended: bool
    digest: str
    gaps: int = 0
    difference: Difference | None = None
    notes: tuple[str, ...] = ()
    skipped: int = 0
    recorded: bool = False
    goes_on: bool = False

    @property
    def same(self) -> bool:
        """Whether the frames and decisions came out as they were recorded, as far as they could be replayed."""
        return self.difference is None

    @property
    def whole(self) -> bool:
        """Whether all that was recorded could be replayed."""
        return not self.gaps

    def to_data(self) -> dict[str, Any]:
        """Return everything as plain data for JSON."""
        return {"same": self.same, "whole": self.whole, **asdict(self)}


def report_lines(result: ReplayResult) -> list[str]:
    """Return what an owner wants to know of a replay, a sentence or two a line."""
    end = "ended cleanly" if result.ended else "goes on" if result.goes_on else "broke off"
    end = f"it {end} after {instant_text(result.length)}"
    if not (result.whole or result.ended or result.goes_on):
        end = f"it could be played up to {instant_text(result.length)}"
    if result.recorded and not (result.ended or result.goes_on):
        end = f"it is still being recorded, {instant_text(result.length)} so far"
    session = f"{result.file}: a session of {result.layout}, begun {_wall(result.started)}"
    counted = {"event": result.events - result.skipped, "decision": result.decisions}
    if result.digest:
        counted = {
            "event": result.events - result.skipped,
            "refused input": result.refused,
            "decision": result.decisions,
            "frame": result.frames,
            "rendered instant": result.instants,
        }
    counts = ", ".join(count(number, name) for name, number in counted.items())
    lines = [f"{session}; {end}", f"replayed: {counts}"]
    lines += [f"note: {note}" for note in result.notes]
    difference = result.difference
    if difference is None:
        same = f"every frame and decision came out as recorded (digest {result.digest})"
        if not result.digest:
            same = "every decision came out as recorded; no light was worked out"
        if not result.whole:
            return [*lines, f"NOT WHOLE: as far as it could be replayed {same}"]
        return [*lines, f"same: {same}"]
    lines.append(f"DIFFERENT: line {difference.line}, at {instant_text(difference.at)}: {difference.what}")
    if difference.cause:
        lines.append(f"the last event before it was number {difference.event}: {difference.cause}")
    return lines


def _wall(started: str) -> str:
    """Return when a session began by the clock on the wall of whoever reads it: times are said by that clock."""
    return f"{datetime.fromisoformat(started).astimezone():%Y-%m-%d %H:%M:%S}"


def first_unlike(recorded: bytes, replayed: bytes) -> int | None:
    """Return the offset of the first byte that differs, or None where one only goes on longer, or neither."""
    pairs = zip(recorded, replayed, strict=False)
    return next((offset for offset, (one, other) in enumerate(pairs) if one != other), None)


def lamp_at(chain: Chain, offset: int) -> tuple[int | None, str, str]:
    """Return the position of the chip, the fixture and the lamp that a byte of a chain's frame belongs to."""
    place = next(
        (chip.position for chip in chain.chips if 0 <= offset - chip.offset < chip.type.channels), None
    )
    for fixture in chain.fixtures:
        for head in fixture.heads:
            for lamp in head.lamps:
                if any(wire.offset == offset for wire in lamp.wires):
                    return place, fixture.name, f"{head.name}.{lamp.name}" if head.name else lamp.name
    return place, "", ""


def frame_difference(
    layout: Layout, chain: int, recorded: bytes, replayed: bytes, *, line: int, at: Instant
) -> Difference:
    """Return how two frames of a chain differ, down to the lamp."""
    key = layout.chains[chain].key
    offset = first_unlike(recorded, replayed)
    if offset is None:
        what = f"the frame of {key} has {len(recorded)} bytes in the log and {len(replayed)} in the replay"
        return Difference(line, at, what, chain=key)
    position, fixture, lamp = lamp_at(layout.chains[chain], offset)
    place = f"{fixture} {lamp}" if fixture else "no lamp"
    what = (
        f"the frame of {key} differs at byte {offset} ({place}, chip {position}): "
        f"{recorded[offset]} in the log, {replayed[offset]} in the replay"
    )
    return Difference(
        line=line,
        at=at,
        what=what,
        chain=key,
        offset=offset,
        recorded=recorded[offset],
        replayed=replayed[offset],
        position=position,
        fixture=fixture,
        lamp=lamp,
    )
