"""What it costs, in figures that stand beside a baseline of the same run.

    python -m tests.bench                     all of it, about ten minutes
    python -m tests.bench latency burst       some of it
    python -m tests.bench --json FILE         the figures as JSON as well
    python -m tests.bench --quick             tiny rounds: shows that it runs, and measures nothing

- `latency`: a fact goes in at the broker and the frame comes out, through a real Mosquitto, a real `lamproom run`
  and its session log; beside it a bare paho client that answers with a frame of the same size.
- `burst`: one order that changes eight chains, until the eighth frame is there; beside it the same bare client
  with eight answers.
- `load`: 5,000 facts a second for a minute through a real Mosquitto and a real `lamproom run`, and then as many as the
  broker takes: whether each came, in its order, by the session log; how long one order took meanwhile, its memory, and
  how soon all of it was through.
- `lost`: from the end of each kind of source, in each of the ways in which it can go, to the frame with the most
  restrictive aspects, and from its return to what stands.
- `compile`: the frames of 10,000 RGB pixels from their levels; beside it a table and a gather in bare numpy.
- `motion`: one instant while all of 10,000 RGB pixels fade, from their fades to the frames; beside it the same.
- `effects`: one instant while all of 10,000 RGB pixels on 34 chains play effects of ten kinds, to the frames; beside it
  the same arithmetic in bare numpy, into arrays that are there already.
- `outputs`: 10,000 RGB pixels on 20 chains at 60 frames a second over E1.31 and DDP to a socket of this machine, and
  the share of a processor that it takes; beside it the sender of `sacn` with the same universes.
- `inputs`: a million inputs for each decoder there is, random ones and spoiled ones, to events or a refusal and nothing
  else; beside it reading the same payloads as text, digits or JSON. This alone takes some five minutes.
- `engine`: one order to one signal, on layouts of 10, 100, 1,000 and 10,000 devices.
- `check`: reading and checking a layout file of 2,000 signals.
- `replay`: ten minutes and three hours of the demo from their session logs, with all frames, and of decisions alone, on
  one processor and on all of them; beside it a loop that parses the same lines with `orjson` and counts them.
- `memory`: what a replay of a hundred thousand and of a million events takes at its highest; two minutes more.
- `wiring`: from an answer to the next question of the wiring finder, on chains of 10, 50 and 200 chips.

A machine that is shared drifts by more than what is measured here. So each figure is taken in short rounds, ours
and the baseline's in turn, and what counts is the middle of the rounds' ratios. No test asserts any of it.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from tests.bench import inputs, load, lost, pixels_out, pure, replays, through_broker

BENCHES: Final[dict[str, Callable[[bool], list[dict[str, Any]]]]] = {
    "latency": through_broker.latency,
    "burst": through_broker.burst,
    "load": load.load,
    "lost": lost.lost,
    "compile": pure.compile_frames,
    "motion": pure.motion,
    "effects": pure.effects,
    "outputs": pixels_out.outputs,
    "inputs": inputs.inputs,
    "engine": pure.engine,
    "check": pure.check,
    "replay": replays.replays,
    "memory": replays.memory,
    "wiring": pure.wiring,
}


def main(arguments: list[str] | None = None) -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(BENCHES))
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures here too")
    parser.add_argument("--quick", action="store_true", help="tiny rounds")
    asked = parser.parse_args(arguments)
    unknown = [name for name in asked.names if name not in BENCHES]
    if unknown:
        parser.error(f"there is no {unknown[0]}: choose from {', '.join(BENCHES)}")
    figures = {}
    for name in asked.names or BENCHES:
        print(f"{name}:", flush=True)
        figures[name] = BENCHES[name](asked.quick)
        print_table(figures[name])
    if asked.json is not None:
        asked.json.write_text(json.dumps({"cores": os.cpu_count(), "figures": figures}, indent=2) + "\n")


def print_table(rows: list[dict[str, Any]]) -> None:
    """Print rows that have the same keys."""
    lines = [list(rows[0])] + [[_said(value) for value in row.values()] for row in rows]
    widths = [max(len(cell) for cell in column) for column in zip(*lines, strict=True)]
    for line in lines:
        print("  " + "  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)))
    print(flush=True)


def _said(value: float | str) -> str:
    if isinstance(value, float):
        return f"{value:.2f}" if value < 10 else f"{value:.0f}"
    return str(value)


if __name__ == "__main__":
    main()
