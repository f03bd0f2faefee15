"""The pictures of the owner's pages: `python -m tests.support.gallery` draws them anew.

Effects come from `tests.support.exhibits`, changes from `tests.support.changing`. Anything else that is light over time
may be added to `pictures`: a name, a title, lanes, and a time.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from bridge.events import SECOND
from bridge.light.chance import seed_of
from bridge.light.effects import compose
from bridge.picture.gather import Gatherer
from bridge.picture.svg import draw as session_drawn
from bridge.record.replay import replay
from bridge.service.screen import describe
from tests.support.changing import pictures_of_changes
from tests.support.demo_recording import RecordedDay
from tests.support.exhibits import EXHIBITS, Exhibit
from tests.support.playing import effect_of
from tests.support.strips import Lane, Picture, draw, lane_of_score
from tests.support.tree import ROOT

FOLDER: Final = ROOT / "config" / "guide" / "pictures"

FIRST: Final = 30 * SECOND
LAST: Final = 105 * SECOND
DEVICES: Final = (
    "FW",
    "GE",
    "TE",
    "AW",
    "AD",
    "lane-north",
    "platform",
    "street-lanterns",
    "cinema",
    "lighthouse",
)
"""What the picture of a session in the guide shows of the demo."""


def _picture(exhibit: Exhibit) -> Picture:
    names = [lamp.rpartition(":")[0] for lamp in exhibit.lamps]
    colours = [lamp.rpartition(":")[2] for lamp in exhibit.lamps]
    effect = effect_of(exhibit.text, names)
    scores = compose(effect, len(names), seed_of(exhibit.name))
    first = scores[0].shift  # pictures begin where the first lamp does
    lanes: list[Lane] = [
        lane_of_score(name, score._replace(shift=score.shift - first), colour)
        for name, score, colour in zip(names, scores, colours, strict=True)
        if name in (exhibit.only or names)
    ]
    return Picture(exhibit.name, exhibit.title, lanes, exhibit.seconds * SECOND)


def pictures() -> Iterator[Picture]:
    """Yield every picture of the gallery."""
    for exhibit in EXHIBITS:
        yield _picture(exhibit)
    yield from pictures_of_changes()


def drawn() -> dict[str, str]:
    """Return the text of each picture by the name of its file."""
    return {f"{picture.name}.svg": draw(picture) for picture in pictures()}


@cache
def sessions() -> dict[str, str]:
    """Return the pictures of sessions by the names of their files."""
    with TemporaryDirectory() as folder:
        log = Path(folder) / "evening.jsonl"
        RecordedDay(log, 4).record(LAST)
        gatherer = Gatherer(
            lambda layout: describe(layout, ""), since=FIRST, until=LAST, devices=DEVICES, zone=UTC
        )
        replay(log, until=LAST, watcher=gatherer)
        return {"session.svg": session_drawn(gatherer.timeline())}


def write() -> None:
    """Draw all pictures into the guide, and take away those that are no more."""
    FOLDER.mkdir(exist_ok=True)
    found = drawn() | sessions()
    for path in FOLDER.glob("*.svg"):
        if path.name not in found:
            path.unlink()
    for name, text in found.items():
        (FOLDER / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
