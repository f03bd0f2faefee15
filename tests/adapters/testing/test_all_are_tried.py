"""No built-in adapter is left out: each that a layout file can name is put through the contract suite."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

import pytest

from adapters.testing import OutputBench, OutputContract, SourceBench, SourceContract
from tests.support.tree import ROOT

CONTRACTS: dict[str, type[Any]] = {"lamproom.events": SourceContract, "lamproom.outputs": OutputContract}


def trials(contract: type[Any]) -> Iterator[type[Any]]:
    """Yield all classes of tests that inherit a contract, under the names by which pytest finds them."""
    for path in sorted((ROOT / "tests" / "adapters").rglob("test_*.py")):
        if contract.__name__ in path.read_text(encoding="utf-8"):
            module = import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
            for name, value in vars(module).items():
                if name.startswith("Test") and isinstance(value, type) and issubclass(value, contract):
                    yield value


async def tried(trial: type[Any], folder: Path) -> type:
    """Return the class of the adapter that a class of tests makes."""
    made = trial()
    made.folder = folder  # for one that writes there
    if issubclass(trial, SourceContract):
        host = SourceBench()
        async with made.far_end(host) as far_end:
            return type(made.source(far_end, host))
    bench = OutputBench()
    async with made.far_end(bench) as far_end:
        return type(made.output(far_end, bench))


@pytest.mark.parametrize("group", CONTRACTS)
async def test_each_adapter_is_put_through_its_contract(group: str, tmp_path: Path) -> None:
    """Whoever adds an entry point adds its test."""
    own = {point.load() for point in entry_points(group=group) if point.value.startswith("adapters.")}
    assert len(own) >= 6
    found = {await tried(trial, tmp_path) for trial in trials(CONTRACTS[group])}
    assert set() == own - found
