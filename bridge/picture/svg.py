"""A timeline as SVG: no script, nothing from elsewhere, and readable without its colours."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import log2
from typing import Final, NamedTuple

from bridge.events import Instant
from bridge.picture.axes import clock_marks, wall_marks
from bridge.picture.timeline import Band, Glow, Inputs, Row, Tick, Timeline, thin_bands, thin_ticks
from bridge.record.words import instant_text

WIDTH: Final = 960
LEFT: Final = 148
RIGHT: Final = 14
PLOT: Final = WIDTH - LEFT - RIGHT
HEAD: Final = 52
LANE: Final = 26
GAP: Final = 5
INPUTS: Final = 40
STRIP: Final = 7
LETTER: Final = 6.3
"""Pixels that a letter of 11 px takes, on the wide side: what is drawn with has other fonts than here."""

NARROWEST: Final = 1.5
"""Pixels below which bands cannot be told apart."""

MOST_BANDS: Final = 12_000
"""Bands of one picture: some 2 MB. Where there are more, what is drawn as one is longer."""

STYLE: Final = """\
.paper{fill:#fbfaf5}.ink{fill:#22302d}.faint{fill:#5a6662}.rule{stroke:#cfcabb;stroke-width:1}
.board{fill:#141a19;stroke:#39433f}.word{fill:#f6f2e6}.tick{stroke:#22302d;stroke-width:1.5}
.note{stroke:#a3271c;stroke-width:1;stroke-dasharray:2 3}.said{fill:#a3271c}.ground{fill:#efece4}
.line{stroke:#a3271c;stroke-width:2}.hatch{stroke:#8d9a95;stroke-width:2}
@media (prefers-color-scheme:dark){.paper{fill:#1c2221}.ink{fill:#e7e4d9}.faint{fill:#a3ada8}.rule{stroke:#343d3a}
.board{fill:#0a0d0c;stroke:#4a5551}.tick{stroke:#e7e4d9}.note{stroke:#ff9a8c}.said{fill:#ff9a8c}.ground{fill:#141817}
.line{stroke:#ff9a8c}}
@media print{.paper,.ground{fill:#fff}.ink{fill:#000}.faint{fill:#444}.rule{stroke:#bbb}.said{fill:#a3271c}
.tick{stroke:#000}}
"""

DEFINITIONS: Final = (
    '<defs><pattern id="many" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="6" height="6" fill="#141a19"/><path d="M0 0V6" class="hatch"/></pattern>'
    '<pattern id="lost" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">'
    '<path d="M0 0V6" class="line"/></pattern></defs>'
)

_UNWRITABLE: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What cannot stand in XML 1.0 (W3C, section 2.2)."""


def safe(text: str) -> str:
    """Return a text as it may stand in XML and HTML, in an element or an attribute."""
    clean = _UNWRITABLE.sub("\ufffd", text)
    return clean.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")


class _Scale(NamedTuple):
    """From instants to pixels."""

    since: Instant
    length: int

    def x(self, at: Instant) -> float:
        return LEFT + PLOT * min(max(at - self.since, 0), self.length) / self.length


@dataclass(slots=True)
class _Texts:
    """Texts beside each other in rows: each stands where there is room, or nowhere."""

    rows: int
    ends: list[float] = field(default_factory=list)

    def row(self, x: float, text: str) -> int | None:
        """Return a row with room for a text from x on, and take it."""
        self.ends = self.ends or [float(LEFT)] * self.rows
        end = x + len(text) * LETTER + 8
        for number, taken in enumerate(self.ends):
            if taken <= x and end <= WIDTH - RIGHT + 4:
                self.ends[number] = end
                return number
        return None

    def row_before(self, x: float, text: str) -> int | None:
        """Return a row with room for a text that ends at x, and take it."""
        begin = x - len(text) * LETTER - 8
        for number, taken in enumerate(self.ends):
            if taken <= begin:
                self.ends[number] = x
                return number
        return None


def draw(timeline: Timeline) -> str:
    """Return a timeline as SVG."""
    scale = _Scale(timeline.since, timeline.until - timeline.since)
    body: list[str] = []
    top = HEAD
    top = _axes(timeline, scale, body, top)
    if timeline.marks:
        top = _marks(timeline.marks, scale, body, top)
    for inputs in timeline.inputs:
        if inputs.ticks or inputs.lost:
            top = _inputs(inputs, scale, body, top)
    top += GAP
    first = top
    for row, bands in zip(timeline.rows, _thinned(timeline), strict=True):
        top = _row(row, bands, scale, body, top)
    floor = top
    height = floor + 34
    title = f"{timeline.layout}: a session"
    lines = _grid(timeline, scale, HEAD + 4, floor)
    notes = [
        f'<path d="M{_n(scale.x(mark.at))} {first - GAP}V{floor}" class="note"/>'
        for mark in thin_ticks(timeline.marks, scale.length // PLOT)
    ]
    size = f'viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}"'
    font = 'font-family="system-ui, sans-serif" font-size="11"'
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} {font} role="img">',
            f"<title>{safe(title)}</title>",
            f"<style>{STYLE}</style>",
            DEFINITIONS,
            f'<rect width="{WIDTH}" height="{height}" rx="6" class="paper"/>',
            f'<text x="12" y="22" font-size="15" font-weight="600" class="ink">{safe(title)}</text>',
            f'<text x="12" y="39" class="faint">{safe(_subtitle(timeline))}</text>',
            *lines,
            *body,
            *notes,
            *_legend(height - 12),
            "</svg>",
            "",
        )
    )


def _subtitle(timeline: Timeline) -> str:
    began = datetime.fromisoformat(timeline.started)
    since, until = (began + timedelta(microseconds=at // 1000) for at in (timeline.since, timeline.until))
    return f"{timeline.file}, {since:%Y-%m-%d} from {since:%H:%M:%S} to {until:%H:%M:%S} by the clock on the wall"


def _thinned(timeline: Timeline) -> list[list[Band]]:
    """Return the bands of every lane, with those as one that cannot be told apart."""
    narrowest = NARROWEST
    while True:
        shortest = int((timeline.until - timeline.since) * narrowest / PLOT)
        thin = [thin_bands(row.bands, shortest) for row in timeline.rows]
        if sum(map(len, thin)) <= MOST_BANDS + len(thin) or narrowest >= PLOT:
            return thin
        narrowest *= 2


def _grid(timeline: Timeline, scale: _Scale, top: int, floor: int) -> list[str]:
    marks = wall_marks(timeline.started, timeline.since, timeline.until, PLOT)
    return [f'<path d="M{_n(scale.x(at))} {top + 12}V{floor}" class="rule"/>' for at, _text in marks]


def _axes(timeline: Timeline, scale: _Scale, body: list[str], top: int) -> int:
    body.append(_label("clock on the wall", top + 10, faint=True))
    body.append(_label("since it began", top + 24, faint=True))
    for at, text in wall_marks(timeline.started, timeline.since, timeline.until, PLOT):
        x = scale.x(at)
        anchor = "start" if x < LEFT + 24 else "end" if x > WIDTH - RIGHT - 24 else "middle"
        body.append(f'<text x="{_n(x)}" y="{top + 10}" text-anchor="{anchor}" class="ink">{text}</text>')
        since = instant_text(at) if "." in text else instant_text(at).partition(".")[0]
        body.append(f'<text x="{_n(x)}" y="{top + 24}" text-anchor="{anchor}" class="faint">+{since}</text>')
    top += 32
    if any(piece.seconds is not None for piece in timeline.clock):
        body.append(_label("model clock", top + 10, faint=True))
        texts = _Texts(1)
        for at, text in clock_marks(timeline.clock, timeline.since, timeline.until, PLOT):
            x = scale.x(at)
            if texts.row(x, text) is not None:
                body.append(f'<path d="M{_n(x)} {top}v12" class="rule"/>')
                body.append(f'<text x="{_n(x + 3)}" y="{top + 10}" class="ink">{text}</text>')
        top += 18
    return top + GAP


def _marks(marks: Sequence[Tick], scale: _Scale, body: list[str], top: int) -> int:
    body.append(_label("of note", top + 11))
    texts = _Texts(3)
    for mark in thin_ticks(marks, scale.length // PLOT):
        x = scale.x(mark.at)
        text = mark.text or f"{mark.number} at once"
        body.append(f'<path d="M{_n(x)} {top}V{top + 40}" class="note"/>')
        row = texts.row(x, text)
        before = texts.row_before(x, text) if row is None else None
        if row is not None:
            body.append(f'<text x="{_n(x + 3)}" y="{top + 11 + 13 * row}" class="said">{safe(text)}</text>')
        elif before is not None:
            end = f'x="{_n(x - 3)}" y="{top + 11 + 13 * before}" text-anchor="end"'
            body.append(f'<text {end} class="said">{safe(text)}</text>')
        else:
            body.append(_tip(f'<circle cx="{_n(x)}" cy="{top + 3}" r="3" class="said">', text, "circle"))
    return top + 44


def _inputs(inputs: Inputs, scale: _Scale, body: list[str], top: int) -> int:
    floor = top + INPUTS - GAP
    body.append(
        f'<rect x="{LEFT}" y="{top}" width="{PLOT}" height="{INPUTS - GAP}" class="ground" opacity=".6"/>'
    )
    body.append(_label(f"from {inputs.name}", top + 22))
    texts = _Texts(2)
    for since, until in inputs.lost:
        x, width = scale.x(since), max(scale.x(until) - scale.x(since), 1)
        body.append(
            f'<rect x="{_n(x)}" y="{floor - 9}" width="{_n(width)}" height="9" fill="url(#lost)" opacity=".7"/>'
        )
        if (
            since <= scale.since and texts.row(x, "not heard") is not None
        ):  # else it says at its tick that it is lost
            body.append(f'<text x="{_n(x + 2)}" y="{top + 10}" class="said">not heard</text>')
    for tick in thin_ticks(inputs.ticks, scale.length // PLOT):
        x = scale.x(tick.at)
        high = 6 if tick.number == 1 else min(6 + 2 * log2(tick.number), 12)
        body.append(f'<path d="M{_n(x)} {floor}v-{_n(high)}" class="tick"/>')
        text = tick.text or f"{tick.number} events"
        row = texts.row(x, text)
        if row is not None:
            body.append(f'<text x="{_n(x + 2)}" y="{top + 10 + 11 * row}" class="ink">{safe(text)}</text>')
    return top + INPUTS


def _row(row: Row, bands: Sequence[Band], scale: _Scale, body: list[str], top: int) -> int:
    body.append(_label(row.name, top + (12 if row.effect else 16)))
    if row.effect:
        body.append(_label(row.effect, top + 23, faint=True))
    for band in bands:
        x, end = scale.x(band.since), scale.x(band.until)
        width = max(end - x, 1.0)
        whole = f"{band.number} aspects, too short to be drawn" if band.number > 1 else band.aspect
        text = _fitting(f"{band.number} aspects" if band.number > 1 else band.aspect, width - 8)
        fill = ' fill="url(#many)"' if band.number > 1 else ' class="board"'
        body.append(
            f'<rect x="{_n(x)}" y="{top}" width="{_n(max(width - 0.5, 0.5))}" height="{LANE}"{fill}>'
            if text != whole
            else f'<rect x="{_n(x)}" y="{top}" width="{_n(max(width - 0.5, 0.5))}" height="{LANE}"{fill}/>'
        )
        if text != whole:
            times = f"{instant_text(band.since)} to {instant_text(band.until)}"
            body[-1] += f"<title>{safe(f'{row.name}: {whole}, {times}')}</title></rect>"
        body += _strips(band.glows, x + 0.5, width - 1.5, top + LANE - STRIP - 1)
        if text:
            room = ' style="paint-order:stroke" stroke="#141a19" stroke-width="3"' if band.number > 1 else ""
            body.append(f'<text x="{_n(x + 4)}" y="{top + 13}" class="word"{room}>{safe(text)}</text>')
    return top + LANE + GAP


def _strips(glows: Sequence[Glow], x: float, width: float, top: float) -> Iterator[str]:
    """Yield the colours of a band, one below the other; what flashes is broken."""
    if not glows or width <= 0:
        return
    high = STRIP / len(glows)
    for number, glow in enumerate(glows):
        red, green, blue = glow.rgb
        broken = ' stroke-dasharray="5 4"' if glow.flashing else ""
        middle = top + high * (number + 0.5)
        yield (
            f'<path d="M{_n(x)} {_n(middle)}h{_n(width)}" stroke="#{red:02x}{green:02x}{blue:02x}" '
            f'stroke-width="{_n(high)}"{broken}/>'
        )


def _fitting(text: str, width: float) -> str:
    """Return a text if there is room for it, or its beginning; nothing where that would say nothing."""
    room = int(width / LETTER)
    if len(text) <= room:
        return text
    return f"{text[: room - 1].rstrip()}…" if room > 3 else ""


def _legend(y: int) -> list[str]:
    """Explain what is not said in words."""
    return [
        f'<path d="M{LEFT} {y - 4}h26" stroke="#28b46a" stroke-width="{STRIP}"/>',
        f'<text x="{LEFT + 32}" y="{y}" class="faint">lit, in its colour</text>',
        f'<path d="M{LEFT + 150} {y - 4}h26" stroke="#28b46a" stroke-width="{STRIP}" stroke-dasharray="5 4"/>',
        f'<text x="{LEFT + 182}" y="{y}" class="faint">flashing</text>',
        f'<rect x="{LEFT + 260}" y="{y - 10}" width="26" height="12" fill="url(#many)"/>',
        f'<text x="{LEFT + 292}" y="{y}" class="faint">several aspects, too short to be drawn</text>',
        f'<rect x="{LEFT + 520}" y="{y - 10}" width="26" height="12" fill="url(#lost)"/>',
        f'<text x="{LEFT + 552}" y="{y}" class="faint">source not heard</text>',
    ]


def _label(text: str, y: int, *, faint: bool = False) -> str:
    room = int((LEFT - 20) / LETTER)
    said = text if len(text) <= room else f"{text[: room - 1]}…"
    kind = "faint" if faint else "ink"
    weight = "" if faint else ' font-weight="600"'
    element = f'<text x="{LEFT - 8}" y="{y}" text-anchor="end" class="{kind}"{weight}>'
    return f"{element}{safe(said)}</text>" if said == text else _tip(element, text, "text", said)


def _tip(element: str, text: str, name: str, said: str = "") -> str:
    """Return an element with what is shown of it when it is pointed at."""
    return f"{element}<title>{safe(text)}</title>{safe(said)}</{name}>"


def _n(number: float) -> str:
    return f"{number:.1f}".removesuffix(".0")
