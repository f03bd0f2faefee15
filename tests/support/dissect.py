"""Packets read by somebody else: `tshark`, from a capture file that is written here."""

from __future__ import annotations

import shutil
import struct
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.support.missing import is_missing

_ETHERNET = bytes.fromhex("020000000001 020000000002 0800")
_LINK_ETHERNET = 1


def capture(payloads: Iterable[bytes], port: int) -> bytes:
    """Return a capture file (pcap) of UDP packets to a port, one a millisecond."""
    file = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, _LINK_ETHERNET)
    for number, payload in enumerate(payloads):
        udp = struct.pack(">HHHH", 50_000, port, 8 + len(payload), 0) + payload
        ip = struct.pack(
            ">BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, b"\x0a\0\0\1", b"\x0a\0\0\2"
        )
        whole = _ETHERNET + ip + udp
        file += struct.pack("<IIII", 0, number * 1000, len(whole), len(whole)) + whole
    return file


def dissected(
    folder: Path, payloads: Iterable[bytes], port: int, fields: Sequence[str], *options: str
) -> list[dict[str, str]]:
    """Return what `tshark` reads in the fields of each packet; a field that a packet has not is empty."""
    program = shutil.which("tshark")
    if program is None:
        is_missing("tshark is not installed")
    file = folder / "packets.pcap"
    file.write_bytes(capture(payloads, port))
    named = [word for field in fields for word in ("-e", field)]
    done = subprocess.run(
        [program, "-n", "-r", str(file), *options, "-T", "fields", "-E", "separator=|", *named],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return [dict(zip(fields, line.split("|"), strict=True)) for line in done.stdout.splitlines()]
