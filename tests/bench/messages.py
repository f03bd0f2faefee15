"""What it costs to understand mapped messages, and that a million spoiled ones bring nothing but refusals."""

from __future__ import annotations

import contextlib
import json
from typing import Any

from bridge.errors import DecodeError
from tests.bench.rounds import Side, ratio, timed
from tests.support.spoiled import CONVENTIONS, spoiled


def messages(quick: bool) -> list[dict[str, Any]]:
    """Measure a million messages, in rounds of a tenth, beside reading the same payloads with `json.loads` alone.

    Whatever a message is, it is understood or refused: any other exception ends this.
    """
    count = 500 if quick else 100_000
    one, other, refused = Side(), Side(), 0
    for seed in range(2 if quick else 10):
        said = list(spoiled(count, seed))

        def ours(said: list[tuple[str, bytes, bool]] = said) -> None:
            nonlocal refused
            for topic, payload, retained in said:
                try:
                    CONVENTIONS.decode(topic, payload, 1, "yard", retained=retained)
                except DecodeError:
                    refused += 1

        def bare(said: list[tuple[str, bytes, bool]] = said) -> None:
            for _topic, payload, _retained in said:
                with contextlib.suppress(ValueError, RecursionError):
                    json.loads(payload)

        one.rounds.append(timed(ours, 1))
        other.rounds.append(timed(bare, 1))
    return [
        {
            "messages": count * len(one.rounds),
            "refused": refused,
            "us a message": one.percentile(50) / count,
            "json us": other.percentile(50) / count,
            "ratio": ratio(one, other, 50),
        }
    ]
