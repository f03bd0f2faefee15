"""What outlives a run: a small file in the state directory."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from threading import Lock
from typing import Any, Final
from uuid import UUID, uuid4

from bridge.errors import LamproomError

STATE_FILE: Final = "bridge.json"
IDENTITY: Final = "identity"


def default_state_directory() -> Path:
    """Return where state and session logs go unless told otherwise.

    Under systemd its `StateDirectory`, else the XDG Base Directory for state.
    """
    given = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if given:
        return Path(given)
    base = os.environ.get("XDG_STATE_HOME")
    return (Path(base) if base else Path.home() / ".local" / "state") / "lamproom"


class StateFile:
    """A few values that outlive a run. A file that cannot be read counts as none; it is written whole or not at all."""

    def __init__(self, directory: Path) -> None:
        """Make the directory if it is missing.

        Raises:
            LamproomError: it cannot be made; the message names it and the remedy.
        """
        try:
            directory.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise LamproomError(
                f"the state directory {directory} cannot be made ({problem.strerror}): give another with --state"
            ) from None
        self._lock = Lock()
        self._path = directory / STATE_FILE
        self._values: dict[str, Any] = {}
        try:
            values = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return
        if isinstance(values, dict):
            self._values = values

    def number(self, key: str) -> int:
        """Return a whole number, 0 if there is none."""
        value = self._values.get(key)
        return value if isinstance(value, int) and not isinstance(value, bool) and value >= 0 else 0

    def value(self, key: str) -> Any:
        """Return whatever was put there, or None."""
        return self._values.get(key)

    def identity(self) -> UUID:
        """Return who this bridge is among all senders of a network: drawn once, and kept from then on."""
        try:
            return UUID(self._values[IDENTITY])
        except (KeyError, ValueError, TypeError, AttributeError):
            drawn = uuid4()
            self.put(IDENTITY, str(drawn))
            return drawn

    def keep(self, key: str, value: int) -> None:
        """Keep a number if it is higher than before."""
        if value > self.number(key):
            self.put(key, value)

    def put(self, key: str, value: Any) -> None:
        """Keep a value, as plain data."""
        self.put_all({key: value})

    def put_all(self, values: Mapping[str, Any]) -> None:
        """Keep several values, as plain data, in one go.

        A file that cannot be written is no reason to stop: the values then last for this run.
        """
        with self._lock:  # it is called in worker threads
            self._values.update(values)
            fresh = self._path.with_suffix(".new")
            try:
                with fresh.open("w", encoding="utf-8") as file:
                    json.dump(self._values, file)
                    file.flush()
                    os.fsync(file.fileno())
                fresh.replace(self._path)
            except OSError:
                return
