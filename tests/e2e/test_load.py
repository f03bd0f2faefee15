"""A flood of facts through a real broker and the real bridge: all of them, in order, and then all is as before."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from bridge.record.digests import text_digest
from bridge.record.lines import Header, Input, Lost, line_bytes
from tests.bench.load import TOPICS, Came, came, first_log, layout
from tests.support.daemon import hearing, publish, running
from tests.support.mosquitto import StartMosquitto
from tests.support.tree import ROOT

SECONDS = 4


def test_a_flood_comes_whole_and_in_order(mosquitto: StartMosquitto, tmp_path: Path) -> None:
    """For some seconds as many as the broker takes: none is lost, none overtakes another, and a new order is obeyed.

    `python -m tests.bench load` does it for a minute, and with a clock.
    """
    port = mosquitto().port
    with hearing(port, "lamproom/frame/plain/probe") as frames, running(tmp_path, layout(), port) as daemon:
        words = [sys.executable, "-m", "tests.bench.flood", str(port), str(TOPICS), "5000", str(SECONDS)]
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
        sent = int(done.stdout.split()[0])
        publish(port, "layout/accessory/2001/ordered", "reverse")
        frames.levels("plain/probe", bytes.fromhex("ff0000"), 60)
        assert 0 == daemon.stop()
        assert "still do not come in" not in daemon.output
    assert sent > 1000
    assert Came(sent, 0, 0) == came(first_log(daemon))


def test_one_that_is_missing_would_be_seen(tmp_path: Path) -> None:
    """So would one that came twice or too late, and what the log had no room for."""
    log = tmp_path / "session.jsonl"
    header = Header("", "", "", "", "", "", text_digest(""), "", "")
    values = (0, 1, 3, 4, 4, 2)
    inputs = [
        Input(number, number, "mqtt", (), "layout/aspect/1", b"%d" % value)
        for number, value in enumerate(values, 1)
    ]
    log.write_bytes(b"".join([line_bytes(header), *map(line_bytes, inputs), line_bytes(Lost(9, 6))]))
    assert Came(6, 3, 9) == came(log)
