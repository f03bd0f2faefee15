"""How long a frame takes on the data line, and whether it fits between two frames."""

from __future__ import annotations

from typing import Final

from bridge.layout.findings import Finding, error, warning
from bridge.layout.model import Chain, Layout

BITS_PER_CHANNEL: Final = 8
SECOND_NS: Final = 1_000_000_000


def frame_time_ns(chain: Chain) -> int:
    """Return the time of one frame, nanoseconds: all bits, then the longest reset that a chip of it asks for.

    t = N x bits x T_bit + T_reset (the data sheets of the chips; see `bridge.layout.chips`).
    """
    bits = sum(chip.type.channels * BITS_PER_CHANNEL * chip.type.bit_ns for chip in chain.chips)
    reset = max((chip.type.reset_us for chip in chain.chips), default=0)
    return bits + reset * 1000


def frame_instant(instant: int, rate: int) -> int:
    """Return the first instant of the frame grid that is not before `instant`, both in nanoseconds.

    Frame k of the grid is due at k / rate since the session began, rounded down to a nanosecond: never "now and
    one period".
    """
    frame = -(-instant * rate // SECOND_NS)
    return frame * SECOND_NS // rate


def newest_frame_instant(now: int, rate: int) -> int:
    """Return the last instant of the frame grid that is not after `now`."""
    frame = (now * rate + rate - 1) // SECOND_NS
    return frame * SECOND_NS // rate


def look_at_timing(layout: Layout) -> tuple[Finding, ...]:
    """Find chains whose frames take longer than the time between two frames, and chips that cannot be mixed."""
    findings: list[Finding] = []
    for chain in layout.chains:
        time = frame_time_ns(chain)
        if time * layout.frames_per_second > SECOND_NS:
            most = SECOND_NS // time
            findings.append(
                warning(
                    chain.mark,
                    f"a frame of {chain.key} takes {time // 1000} microseconds on the data line, so the chain shows "
                    f"{most} a second and not {layout.frames_per_second}: split it, or lower frames-per-second",
                )
            )
        speeds = {chip.type.bit_ns: chip.type.name for chip in chain.chips}
        if len(speeds) > 1:
            names = " and ".join(speeds.values())
            findings.append(
                error(chain.mark, f"{names} do not run at the same speed: put them on two chains")
            )
    return tuple(findings)
