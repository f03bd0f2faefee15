"""A real `lamproom run` in a process of its own, and the broker's own command-line clients around it."""

from __future__ import annotations

import contextlib
import os
import queue
import secrets
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from adapters.outputs.frame import decode
from bridge.record.store import UNFINISHED
from tests.support.waiting import PATIENCE, wait


class Daemon:
    """`lamproom run` on a layout file.

    Attributes:
        process: the process.
        state: its state directory.
        file: the layout file.
        output: what it wrote to standard error so far.

    Args:
        folder: for the layout file and the state.
        layout: the text of the file.
        port: of the broker on 127.0.0.1.
        options: more of the command line.
        world: lines of Python that come first, for what nobody can do to a process from outside.
    """

    def __init__(self, folder: Path, layout: str, port: int, *options: str, world: str = "") -> None:
        self.file = folder / "layout.yaml"
        self.file.write_text(layout, encoding="utf-8")
        self.state = folder / "state"
        self.output = ""
        words = ["run", str(self.file), "--broker", f"127.0.0.1:{port}", "--state", str(self.state)]
        page = () if "--page" in options else ("--page", "none")
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", f"{world}\nfrom bridge.cli import main; main()", *words, *page, *options],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
            env=environment,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.output += line

    def wait_for(self, words: str, within: float = PATIENCE) -> None:
        """Wait until it has said something."""
        wait(
            lambda: words in self.output or self.process.poll() is not None,
            lambda: f"it never said {words!r}; it said:\n{self.output}",
            within=within,
        )
        assert words in self.output, f"it ended; it said:\n{self.output}"

    def stop(self) -> int:
        """End it as Ctrl-C would, and return its exit status."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        try:
            return self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
            raise
        finally:
            self._reader.join(5)
            assert self.process.stderr is not None
            self.process.stderr.close()

    def log(self) -> Path:
        """Return its newest session log."""
        return max(path for path in (self.state / "sessions").iterdir() if path.suffix != UNFINISHED)


class Heard:
    """`mosquitto_sub` on a filter: each message as topic and payload, in order.

    It listens from the moment when this is made: a mark that the broker keeps, and that it is asked for in the same
    request and behind the filter, has come by then (MQTT 3.1.1, 3.8.4: filters are treated one after the other).
    """

    def __init__(self, port: int, topic_filter: str) -> None:
        self._messages: queue.Queue[tuple[str, bytes]] = queue.Queue()
        self._mark = f"mark/{secrets.token_hex(4)}"
        self._marked = threading.Event()
        publish(port, self._mark, "here", "-r")
        topics = ("-t", topic_filter, "-t", self._mark)
        self._process = subprocess.Popen(
            [_client("mosquitto_sub"), "-p", str(port), *topics, "-F", "%t %x"],
            stdout=subprocess.PIPE,
            text=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        assert self._marked.wait(PATIENCE), f"nothing can be heard on {topic_filter}"
        publish(port, self._mark, "", "-r")

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            topic, _, payload = line.rstrip("\n").rpartition(" ")
            if topic == self._mark:
                self._marked.set()
                continue
            self._messages.put((topic, bytes.fromhex(payload)))

    def next(self, within: float = PATIENCE) -> tuple[str, bytes]:
        """Return the next message."""
        return self._messages.get(timeout=within)

    def all(self) -> list[tuple[str, bytes]]:
        """Return whatever has come and was not taken yet."""
        found = []
        with contextlib.suppress(queue.Empty):
            while True:
                found.append(self._messages.get_nowait())
        return found

    def levels(self, chain: str, expected: bytes, within: float = PATIENCE) -> None:
        """Wait until the frame of a chain carries these levels; say what came instead."""
        seen: list[str] = []
        deadline = time.monotonic() + within
        while time.monotonic() < deadline:
            with contextlib.suppress(queue.Empty):
                topic, payload = self._messages.get(timeout=0.1)
                if topic != f"lamproom/frame/{chain}":
                    continue
                _header, levels = decode(payload)
                if levels == expected:
                    return
                seen.append(levels.hex())
        raise AssertionError(f"{chain} never showed {expected.hex()}, but {', '.join(dict.fromkeys(seen))}")

    def close(self) -> None:
        """End it."""
        self._process.terminate()
        self._process.wait(5)
        self._reader.join(5)
        assert self._process.stdout is not None
        self._process.stdout.close()


def publish(port: int, topic: str, payload: str | bytes, *options: str) -> None:
    """Publish with the broker's own command-line client."""
    data = payload.encode() if isinstance(payload, str) else payload
    words = [_client("mosquitto_pub"), "-p", str(port), "-t", topic, *options]
    subprocess.run([*words, "-s"] if data else [*words, "-n"], input=data or None, check=True, timeout=20)


@contextlib.contextmanager
def running(folder: Path, layout: str, port: int, *options: str, world: str = "") -> Iterator[Daemon]:
    """Give a daemon that drives its nodes, and end it."""
    daemon = Daemon(folder, layout, port, *options, world=world)
    try:
        daemon.wait_for("under term")
        yield daemon
    finally:
        daemon.stop()


@contextlib.contextmanager
def hearing(port: int, topic_filter: str) -> Iterator[Heard]:
    """Give what a filter hears."""
    heard = Heard(port, topic_filter)
    try:
        yield heard
    finally:
        heard.close()


def _client(name: str) -> str:
    found = shutil.which(name)
    assert found is not None, f"{name} is missing: install Debian's mosquitto-clients"
    return found
