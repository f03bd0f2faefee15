"""What the kernel says of a process (proc(5))."""

from __future__ import annotations

import os
from pathlib import Path


def resident_kb(process: int | str) -> int:
    """Return the memory that a process holds, in kB."""
    return _memory_kb(process, "VmRSS:")


def peak_kb(process: int) -> int:
    """Return the most memory that a process has held since it began, in kB."""
    return _memory_kb(process, "VmHWM:")


def _memory_kb(process: int | str, word: str) -> int:
    for line in Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines():
        if line.startswith(word):
            return int(line.split()[1])
    raise AssertionError(f"process {process} holds no memory: it has ended")


def processor_seconds(process: int) -> float:
    """Return the processor time that a process has used, its own and the kernel's for it."""
    # The name of the program stands in brackets and may hold spaces; user and system time are fields 14 and 15.
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
