"""A real Mosquitto of a test's own, on a free port of 127.0.0.1."""

from __future__ import annotations

import contextlib
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path
from typing import Final, Protocol

from tests.support.ports import free_port

STARTS_WITHIN: Final = 10.0
"""Seconds. A busy machine takes one; a broker that takes ten does not start at all."""


class Mosquitto:
    """One broker process; start and stop it as often as the test needs, the port stays.

    Args:
        folder: for its settings and its log.
        settings: lines of mosquitto.conf beside the common ones.
    """

    def __init__(self, folder: Path, settings: tuple[str, ...] = ()) -> None:
        self.port = 0
        self._binary = _find()
        self._folder = folder
        self._settings = settings
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def running(self) -> bool:
        """Whether the process lives."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Start, on the same port as before, and return when it answers."""
        assert not self.running, "it runs already"
        deadline = time.monotonic() + STARTS_WITHIN
        port = self.port or free_port()
        while not self._try(port, deadline):
            # Another process may have taken the port between the search and the start.
            port = self.port or free_port()
        self.port = port

    def stop(self) -> None:
        """End the process, frozen or not."""
        process, self._process = self._process, None
        if process is None:
            return
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGCONT)
            process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def kill(self) -> None:
        """End the process at once, with no time for anything."""
        process, self._process = self._process, None
        assert process is not None, "it does not run"
        process.kill()
        process.wait()

    def freeze(self) -> None:
        """Stop it from doing anything; the kernel goes on taking connections and bytes for it."""
        assert self._process is not None, "it does not run"
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None, "it does not run"
        self._process.send_signal(signal.SIGCONT)

    def reload(self) -> None:
        """Have it read its settings and access rules again."""
        assert self._process is not None, "it does not run"
        self._process.send_signal(signal.SIGHUP)

    def _try(self, port: int, deadline: float) -> bool:
        settings = self._folder / f"mosquitto-{port}.conf"
        own = () if any("allow_anonymous" in line for line in self._settings) else ("allow_anonymous true",)
        lines = (f"listener {port} 127.0.0.1", "set_tcp_nodelay true", "log_type error", "log_type warning")
        settings.write_text("\n".join((*lines, *own, *self._settings, "")))
        log = self._folder / "mosquitto.log"
        with log.open("ab") as output:
            self._process = subprocess.Popen([self._binary, "-c", settings], stdout=output, stderr=output)
        while self._process.poll() is None:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                return self._process.poll() is None
            if time.monotonic() > deadline:
                self.stop()
                break
            time.sleep(0.01)
        assert time.monotonic() < deadline, f"mosquitto does not start: {log.read_text(errors='replace')}"
        return False


class StartMosquitto(Protocol):
    """The fixture `mosquitto`: each call gives another running broker, and all are ended after the test."""

    def __call__(self, *settings: str) -> Mosquitto:
        """Start a broker; `settings` are lines of mosquitto.conf."""
        ...


def _find() -> str:
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    assert found is not None, "these tests need Mosquitto, for instance from `apt install mosquitto`"
    return found
