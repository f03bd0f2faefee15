"""Try the installed wheel as its owner would: run it with the Python of an environment that holds nothing else.

Standard library only, since that environment has no test tools.
"""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from importlib import metadata, resources
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import IO, Final

LAMPROOM: Final = Path(sys.prefix) / "bin" / "lamproom"
ADDRESS: Final = re.compile(r"http://127\.0\.0\.1:\d+/")

START_LIMIT_S: Final = 30.0
STOP_LIMIT_S: Final = 2.0


class SmokeError(Exception):
    """The wheel does not do what it must; the message says what was seen."""


def expect(*, holds: bool, otherwise: str) -> None:
    """Fail with a message unless something holds."""
    if not holds:
        raise SmokeError(otherwise)


def lamproom(*words: str) -> tuple[int, str]:
    """Run the command to its end and return its exit status and everything it said."""
    ran = subprocess.run([LAMPROOM, *words], capture_output=True, text=True, timeout=60, check=False)
    said = ran.stdout + ran.stderr
    expect(
        holds="Traceback" not in said, otherwise=f"lamproom {' '.join(words)} ended in a traceback:\n{said}"
    )
    return ran.returncode, said


def shipped(name: str) -> Path:
    """Return the path of a layout that came with the wheel."""
    path = Path(str(resources.files("bridge") / "config" / name))
    expect(holds=path.is_file(), otherwise=f"the wheel does not hold {path}")
    return path


def packages_come_from_the_wheel() -> None:
    """Both packages are imported from this environment, and the built-in adapters come in by their door."""
    for package in ("bridge", "adapters"):
        place = Path(str(resources.files(package)))
        expect(holds=place.is_relative_to(sys.prefix), otherwise=f"{package} was imported from {place}")
    for group in ("lamproom.events", "lamproom.outputs"):
        names = {entry.name: entry.load() for entry in metadata.entry_points(group=group)}
        expect(holds="mqtt" in names, otherwise=f"{group} offers {sorted(names)}, and mqtt is not among them")


def version_is_told() -> None:
    """`lamproom --version` tells the version of the wheel."""
    status, said = lamproom("--version")
    wanted = metadata.version("lamproom")
    expect(
        holds=status == 0 and wanted in said,
        otherwise=f"--version: status {status}, {wanted} not in {said!r}",
    )


def shipped_layout_is_sound() -> None:
    """`lamproom check` finds nothing wrong with the shipped first layout."""
    status, said = lamproom("check", str(shipped("first-steps.yaml")))
    expect(holds=status == 0, otherwise=f"check of the shipped layout: status {status}\n{said}")


def damaged_layout_is_refused() -> None:
    """`lamproom check` refuses the same layout with one wrong line more, and names that line."""
    with tempfile.TemporaryDirectory() as folder:
        damaged = Path(folder) / "damaged.yaml"
        shutil.copy(shipped("first-steps.yaml"), damaged)
        text = damaged.read_text(encoding="utf-8").rstrip("\n") + "\nno-such-key: 1\n"
        damaged.write_text(text, encoding="utf-8")
        status, said = lamproom("check", str(damaged))
        place = f"{damaged}:{text.count(chr(10))}:1: error: "
        # A long path may be broken over lines by a terminal's width; a pipe has none.
        expect(holds=status == 1 and place in said, otherwise=f"status {status}, no {place!r} in\n{said}")


def board_gets_its_files() -> None:
    """`lamproom node` writes the program for a board, which the wheel carries, and its settings."""
    with tempfile.TemporaryDirectory() as folder:
        words = ("node", str(shipped("first-steps.yaml")), "bench", "--broker", "192.0.2.10", "--to", folder)
        status, said = lamproom(*words)
        found = {path.name for path in Path(folder).iterdir()}
        wanted = {"main.py", "node.py", "pixels.py", "settings.json"}
        expect(
            holds=status == 0 and wanted <= found, otherwise=f"status {status}, {sorted(found)} and\n{said}"
        )


def demo_runs_and_stops() -> None:
    """`lamproom demo` prints one address, serves its page there, and ends within two seconds of Ctrl-C."""
    with subprocess.Popen(
        [LAMPROOM, "demo"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as demo:
        said: list[str] = []
        try:
            expect(holds=demo.stdout is not None, otherwise="the demo has no output")
            reader, lines = follow(demo.stdout, said)
            page = fetch(address(lines, said))
            expect(
                holds="<html" in page.lower(), otherwise=f"what the demo serves is no page: {page[:200]!r}"
            )
            began = time.monotonic()
            demo.send_signal(signal.SIGINT)
            status = stopped(demo)
            took = time.monotonic() - began
            reader.join(STOP_LIMIT_S)
        finally:
            if demo.poll() is None:
                demo.kill()
    text = "".join(said)
    expect(holds=status is not None, otherwise=f"the demo still ran {STOP_LIMIT_S} s after Ctrl-C:\n{text}")
    expect(holds=status == 0, otherwise=f"the demo ended with status {status} after Ctrl-C:\n{text}")
    expect(holds="Traceback" not in text, otherwise=f"the demo ended in a traceback:\n{text}")
    count = len(ADDRESS.findall(text))
    expect(holds=count == 1, otherwise=f"the demo printed {count} addresses:\n{text}")
    print(f"    it ended {took:.2f} s after Ctrl-C")


def follow(stream: IO[str] | None, said: list[str]) -> tuple[threading.Thread, SimpleQueue[str | None]]:
    """Read a stream to its end in a thread: each line goes into `said` and the queue, None marks the end."""
    lines: SimpleQueue[str | None] = SimpleQueue()

    def read() -> None:
        for line in stream or ():
            said.append(line)
            lines.put(line)
        lines.put(None)

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    return thread, lines


def address(lines: SimpleQueue[str | None], said: list[str]) -> str:
    """Return the address that the demo prints, waiting for it within the limit."""
    deadline = time.monotonic() + START_LIMIT_S
    while True:
        try:
            line = lines.get(timeout=max(0.0, deadline - time.monotonic()))
        except Empty:
            raise SmokeError(f"the demo printed no address in {START_LIMIT_S} s:\n{''.join(said)}") from None
        if line is None:
            raise SmokeError(f"the demo ended before it printed an address:\n{''.join(said)}")
        if match := ADDRESS.search(line):
            return match[0]


def fetch(url: str) -> str:
    """Return the page at an address of this machine, past any proxy of the environment."""
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with opener.open(url, timeout=10) as answer:
        expect(holds=answer.status == 200, otherwise=f"{url} answered {answer.status}")
        return str(answer.read().decode())


def stopped(process: subprocess.Popen[str]) -> int | None:
    """Return the exit status of a process that was told to stop, or None where it took too long."""
    try:
        return process.wait(STOP_LIMIT_S)
    except subprocess.TimeoutExpired:
        return None


def main() -> int:
    """Try everything in turn and stop at the first failure."""
    for trial in (
        packages_come_from_the_wheel,
        version_is_told,
        shipped_layout_is_sound,
        damaged_layout_is_refused,
        board_gets_its_files,
        demo_runs_and_stops,
    ):
        try:
            trial()
        except SmokeError as error:
            print(f"  failed: {trial.__name__}: {error}", file=sys.stderr)
            return 1
        print(f"  {trial.__name__.replace('_', ' ')}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
