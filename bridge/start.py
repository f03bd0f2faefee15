"""The door of the program: it can be ended in peace from the first moment on, and then loads the rest.

Loading the commands takes a second and more on a small board. Who ends a daemon in that time gets what he
would get later, a quiet end with status 0, since nothing has been opened yet that would have to be closed.
"""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType
from typing import Final

DAEMONS: Final = ("run", "demo")
"""The commands that run until they are ended: for them that is success, for the others it is not."""


def main() -> None:
    """Run `lamproom`."""
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, _leave)
    from bridge.cli import main as run_command  # noqa: PLC0415 - the handlers come first

    try:
        run_command()
    except KeyboardInterrupt:  # once more, while Python takes itself apart
        sys.exit(_status(signal.SIGINT))


def _leave(number: int, _frame: FrameType | None) -> None:
    # An exception would be raised in the middle of whatever is being imported, and might be swallowed there.
    os._exit(_status(number))


def _status(number: int) -> int:
    return 0 if any(word in DAEMONS for word in sys.argv[1:2]) else 128 + number
