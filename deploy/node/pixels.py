"""The data line of a chain, by the board's own pulses. A board that needs another way needs only this file changed."""

import time

import machine


class Line:
    """One data line.

    Args:
        pin: number of the pin, as the board's maker counts them.
        pulses_ns: how long the line is high and low for a 0, then for a 1, nanoseconds.
        reset_us: how long it is low after a frame, microseconds.
    """

    def __init__(self, pin: int, pulses_ns: tuple, reset_us: int) -> None:
        self._pin = machine.Pin(pin, machine.Pin.OUT, value=0)
        self._pulses = pulses_ns
        self._reset = reset_us

    def show(self, levels: bytearray) -> None:
        """Send a whole frame, the first byte first, and return when the chips have taken it."""
        machine.bitstream(self._pin, 0, self._pulses, levels)
        time.sleep_us(self._reset)
