"""That a million inputs to each decoder bring nothing but events and refusals, and what each of them costs."""

from __future__ import annotations

from collections import Counter
from typing import Any

from bridge.errors import DecodeError
from tests.bench.rounds import Side, ratio, timed
from tests.support.any_input import entrances


def inputs(quick: bool) -> list[dict[str, Any]]:
    """Give each decoder a million inputs, in rounds of a twentieth, beside reading the same payloads and no more.

    Whatever an input is, it is understood or refused: any other exception ends this.
    """
    count = 500 if quick else 50_000
    rows = []
    for name, entrance in entrances().items():
        one, other = Side(), Side()
        ended: Counter[str] = Counter()
        for seed in range(2 if quick else 20):
            said = list(entrance.inputs(count, seed))

            def ours(said: list[Any] = said, entrance: Any = entrance, ended: Counter[str] = ended) -> None:
                for raw in said:
                    try:
                        understood = entrance.read(raw)
                    except DecodeError:
                        ended["refused"] += 1
                    else:
                        ended["nothing" if understood == () else "understood"] += 1

            def bare(said: list[Any] = said, entrance: Any = entrance) -> None:
                for raw in said:
                    entrance.bare(raw.payload)

            one.rounds.append(timed(ours, 1))
            other.rounds.append(timed(bare, 1))
        rows.append(
            {
                "decoder": name,
                "inputs": count * len(one.rounds),
                "understood": ended["understood"],
                "refused": ended["refused"],
                "us each": one.percentile(50) / count,
                "bare us": other.percentile(50) / count,
                "ratio": ratio(one, other, 50),
            }
        )
    return rows
