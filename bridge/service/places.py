"""The chains of a layout as the contract shows them to an output."""

from __future__ import annotations

from itertools import groupby

from adapters.contract import ChainPlace, ChipRun
from bridge.layout.model import Chain


def place_of(chain: Chain) -> ChainPlace:
    """Return a chain as an output sees it."""
    runs = (
        (kind.name, kind.channels, sum(1 for _chip in chips))
        for kind, chips in groupby(chain.chips, key=lambda chip: chip.type)
    )
    return ChainPlace(chain.node, chain.name, tuple(ChipRun(*run) for run in runs))
