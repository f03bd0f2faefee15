"""An SPI bus of this board, through the Linux driver `spidev`."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from adapters.outputs.writer import Port, PortError

LONGEST: Final = Path("/sys/module/spidev/parameters/bufsiz")
"""Where the driver says how many bytes it takes at once. More would go out with a gap, a reset for the chips."""

USUAL_LONGEST: Final = 4096


class _Spidev:
    """A bus by the package `spidev`."""

    def __init__(self, device: str, hertz: int) -> None:
        import spidev  # noqa: PLC0415 - who has no such bus needs no such package

        self._spi = spidev.SpiDev()
        self._spi.open_path(device)
        self._spi.max_speed_hz = hertz
        self._spi.mode = 0
        self._spi.bits_per_word = 8

    def write(self, data: bytes) -> None:
        self._spi.writebytes2(data)

    def close(self) -> None:
        self._spi.close()


def open_port(device: str, hertz: int, longest: int) -> Port:
    """Open a bus.

    Args:
        device: such as `/dev/spidev0.0`.
        hertz: bits a second.
        longest: bytes of the longest frame.

    Raises:
        PortError: it cannot be opened, or takes less at once than a frame has.
    """
    try:
        port = _Spidev(device, hertz)
    except ImportError:
        raise PortError("the Python package spidev is missing: install lamproom[spi]") from None
    except FileNotFoundError:
        raise PortError(
            f"there is no {device}: switch SPI on in the board's settings and restart it, or name another;"
            " `ls /dev/spidev*` lists them"
        ) from None
    except PermissionError:
        raise PortError(
            f"{device} may not be opened: put the user of the bridge into the group that owns it (`ls -l {device}`)"
        ) from None
    except OSError as problem:
        raise PortError(f"{device} cannot be opened: {problem.strerror or problem}") from None
    most = _most_at_once()
    if longest > most:
        port.close()
        raise PortError(
            f"a frame has {longest} bytes on the bus, and its driver takes {most} at once: add"
            f" spidev.bufsiz={_power_of_two(longest)} to the kernel's command line and restart the board"
        )
    return port


def _most_at_once() -> int:
    try:
        return int(LONGEST.read_text(encoding="ascii"))
    except (OSError, ValueError):
        return USUAL_LONGEST


def _power_of_two(least: int) -> int:
    return 1 << (least - 1).bit_length()
