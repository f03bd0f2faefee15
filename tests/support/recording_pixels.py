"""In place of the driver of a node's data lines: it writes down what it is told to show.

It runs on MicroPython. A record is the pin (1 byte), the length of the levels (2 bytes), the bytes of memory in use
(4 bytes), all big-endian, then the levels. It makes no object either, so that the figure is that of the program alone.
"""

import gc
import time

_FILE = open("shown.bin", "wb")  # noqa: PTH123, SIM115 - MicroPython has no pathlib, and it is open for ever

_PAUSE_MS = 0  # for a board that is slow


class Line:
    """One data line."""

    def __init__(self, pin: int, _pulses_ns: tuple[int, ...], _reset_us: int) -> None:
        self._head = bytearray(7)
        self._head[0] = pin

    def show(self, levels: bytes) -> None:
        """Write it down."""
        used: int = gc.mem_alloc()  # type: ignore[attr-defined] # of MicroPython
        size, head = len(levels), self._head
        head[1] = size >> 8
        head[2] = size & 0xFF
        for at in (3, 4, 5, 6):
            head[at] = used >> 8 * (6 - at) & 0xFF
        _FILE.write(head)
        _FILE.write(levels)
        time.sleep_ms(_PAUSE_MS)  # type: ignore[attr-defined] # of MicroPython
