"""A timeline as a page: the picture, and below it the tables of what there is to count. It needs nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from bridge.layout.findings import count
from bridge.picture.statistics import Statistics, latency_text
from bridge.picture.svg import draw, safe
from bridge.picture.timeline import Timeline
from bridge.record.words import instant_text

STYLE: Final = """\
:root{color-scheme:light dark;--paper:#efece4;--leaf:#fbfaf5;--ink:#22302d;--rule:#cfcabb;--plate:#1d3b36}
@media (prefers-color-scheme:dark){:root{--paper:#141817;--leaf:#1c2221;--ink:#e7e4d9;--rule:#343d3a;--plate:#29514a}}
body{margin:0 auto;max-width:64rem;padding:1rem;background:var(--paper);color:var(--ink);font:1rem/1.45 system-ui,
sans-serif}
h1{font-size:1.4rem}h2{font-size:1.1rem;margin:1.6rem 0 .4rem}
.picture{overflow-x:auto}.picture svg{display:block;max-width:none}
.tables{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,20rem),1fr));gap:0 1.5rem}
table{width:100%;border-collapse:collapse;border:1px solid var(--rule);background:var(--leaf)}
th,td{padding:.3rem .7rem;border-bottom:1px solid var(--rule);text-align:left;overflow-wrap:anywhere}
thead th{background:var(--plate);color:#f6f2e6}td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}
@media print{:root{--paper:#fff;--leaf:#fff;--ink:#000;--rule:#999}body{max-width:none;padding:0}
.picture svg{width:100%;height:auto}thead th{background:#fff;color:#000;border-bottom:2px solid #000}
tr{break-inside:avoid}thead{display:table-header-group}}
"""


def page(timeline: Timeline, notes: Sequence[str] = ()) -> str:
    """Return a timeline as HTML.

    Args:
        timeline: what is shown.
        notes: what an owner should know of the log.
    """
    title = f"{timeline.layout}: a session"
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8"/>',
            '<meta name="viewport" content="width=device-width, initial-scale=1"/>',
            f"<title>{safe(title)}</title>",
            f"<style>{STYLE}</style></head><body>",
            f"<h1>The session in {safe(timeline.file)}</h1>",
            *(f"<p>Note: {safe(note)}</p>" for note in notes),
            f'<div class="picture" tabindex="0">{draw(timeline)}</div>',
            *_tables(timeline.statistics),
            "</body></html>",
            "",
        )
    )


def _tables(found: Statistics) -> Iterable[str]:
    yield "<h2>In figures</h2>"
    yield from (f"<p>{safe(line)}</p>" for line in sentences(found))
    yield '<div class="tables"><div>'
    yield "<h2>Events by source</h2>"
    events = [
        (source, kind.replace("-", " "), number)
        for source, kinds in found.events.items()
        for kind, number in kinds.most_common()
    ]
    events += [(source, "refused", number) for source, number in found.refused.items() if number]
    events += [(source, "taken for repeats", number) for source, number in found.repeats.items() if number]
    yield from _table(("source", "kind", "number"), events)
    yield "</div><div><h2>Changes by device</h2>"
    changes = sorted(found.changes.items(), key=lambda pair: -pair[1])
    yield from _table(("device", "changes of aspect"), changes)
    yield "</div></div>"


def _table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterable[str]:
    last = len(heads) - 1
    kinds = ['class="n"' if place == last else "" for place in range(len(heads))]
    cells = "".join(
        f'<th scope="col" {kind}>{safe(head)}</th>' for head, kind in zip(heads, kinds, strict=True)
    )
    yield f"<table><thead><tr>{cells}</tr></thead><tbody>"
    for row in rows:
        cells = "".join(f"<td {kind}>{safe(str(cell))}</td>" for cell, kind in zip(row, kinds, strict=True))
        yield f"<tr>{cells}</tr>"
    yield "</tbody></table>"


def sentences(found: Statistics) -> list[str]:
    """Return what there is to count in whole sentences."""
    events = sum(kinds.total() for kinds in found.events.values())
    changes = sum(found.changes.values())
    whole = (
        f"In {instant_text(found.length)} there were {count(events, 'event')}, {count(changes, 'change')} of aspect "
        f"and {count(found.frames, 'frame')}; {count(found.refused.total(), 'input')} meant nothing, and "
        f"{count(found.repeats.total(), 'event')} only repeated another."
    )
    lines = [whole]
    if found.busiest is not None:
        minute, number = found.busiest
        lines.append(f"The busiest minute was that from {minute} on, with {count(number, 'event')}.")
    return [*lines, latency_text(found)]


def statistics_lines(found: Statistics) -> list[str]:
    """Return the statistics for a terminal, a line each."""
    lines = sentences(found)
    for source, kinds in found.events.items():
        said = ", ".join(f"{number} {kind.replace('-', ' ')}" for kind, number in kinds.most_common())
        lines.append(f"events from {source}: {said}")
    for name, counted in (("refused", found.refused), ("taken for repeats", found.repeats)):
        lines += [f"{name} from {source}: {number}" for source, number in counted.items() if number]
    changed = sorted(found.changes.items(), key=lambda pair: -pair[1])
    lines += [f"{device}: {count(number, 'change')} of aspect" for device, number in changed if number]
    still = [device for device, number in changed if not number]
    return [*lines, f"never changed: {', '.join(still)}"] if still else lines
