"""`check --prove` as its owner meets it: progress on the screen, a limit of time, and counter-examples on the disk."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from time import monotonic
from typing import Final

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from bridge.check.prove import proof
from bridge.check.prove.space import TooLarge
from bridge.layout.controls import Ahead, CrossingShows, Following
from bridge.layout.findings import count
from bridge.layout.model import Layout
from bridge.record.words import instant_text
from bridge.service.files import LayoutFile
from bridge.service.proofs import write_session

BY_TRACK: Final = (Ahead, Following, CrossingShows)
"""What tells a signal what to show, and is no order or button that an example could give."""

LONGEST_NAME: Final = 60
"""Characters in which a group of signals is named while it is looked at."""


def prove_file(
    looked: LayoutFile, layout: Layout, directory: Path, minutes: float, say: Callable[[str], None]
) -> bool:
    """Prove the interlocking of a layout, and tell what came of it.

    Args:
        looked: the layout file.
        layout: what it describes.
        directory: where counter-examples are written as session logs.
        minutes: how long one group of signals may take.
        say: is given each line.

    Returns:
        Whether everything was proved.

    Raises:
        LamproomError: a log cannot be written.
    """
    everything = True
    groups = 0
    for group in _watched(layout, minutes):
        groups += 1
        everything &= group.proved
        for line in _lines(looked, layout, group, directory, groups):
            say(line)
    if not groups:
        say(f"{looked.name}: no signal has routes, so there is nothing to prove")
    return everything


def _watched(layout: Layout, minutes: float) -> Iterator[proof.Group]:
    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn()
    began = monotonic()
    shown: tuple[str, ...] = ()
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        bar = progress.add_task("proving", total=None)

        def watch(group: tuple[str, ...], done: int, of: int) -> None:
            nonlocal began, shown
            if group != shown:
                began, shown = monotonic(), group
            elif monotonic() - began > minutes * 60:
                raise TooLarge(f"it was not done within {minutes:g} minutes: give it more with --minutes")
            progress.update(bar, description=_short(group), completed=done, total=of)

        yield from proof.prove_layout(layout, watch)


def _short(group: tuple[str, ...]) -> str:
    text = ", ".join(group)
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 1]}…"


def _lines(
    looked: LayoutFile, layout: Layout, group: proof.Group, directory: Path, number: int
) -> Iterator[str]:
    who = ", ".join(group.signals)
    if group.proved:
        yield f"{looked.name}: proved of {who}: {count(group.claims, 'claim')}, whatever may happen"
    for place, failure in enumerate(group.failures, start=1):
        yield f"{looked.name}: not so: {failure.words}"
        story = failure.story
        yield from (f"  {instant_text(step.at):>10}  {step.words}" for step in story.steps)
        yield f"  {instant_text(story.end):>10}  {failure.words}"
        if failure.confirmed and failure.remedy:
            yield f"  what would help: {failure.remedy}"
        if failure.confirmed:
            path = _free(directory / f"{layout.name}-{number}-{place}.jsonl".replace("/", "-"))
            write_session(path, layout, looked.text, looked.name, story.events, story.end)
            yield f"  the engine does the same: `lamproom replay '{path}'` plays it"
        elif story.possible:
            yield f"  but the engine does not do it: {_doubt(group, layout)}"
        else:
            yield "  but the lengths of the timers do not allow it: the proof cannot tell, and this is not settled"
    if group.too_large:
        yield f"{looked.name}: too large to prove: {who}: {group.too_large}"


def _doubt(group: proof.Group, layout: Layout) -> str:
    """Return what an example may rest on that the engine does not follow."""
    by_track = [
        signal.name
        for signal in layout.signals
        if signal.name in group.signals and any(isinstance(each, BY_TRACK) for each in signal.controls)
    ]
    if by_track:
        return (
            f"what tells {', '.join(by_track)} goes by the track or by other signals, and the proof takes it that it "
            "may tell anything at any time. So this is not settled"
        )
    return "this is a fault of the proof, please report it"


def _free(path: Path) -> Path:
    """Return a path at which nothing stands yet: no log is ever written over."""
    found, more = path, 1
    while found.exists():
        more += 1
        found = path.with_stem(f"{path.stem}-{more}")
    return found
