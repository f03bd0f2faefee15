"""The benchmarks run. What they find is for people to judge, and depends on the machine: nothing of it is asserted."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.bench.__main__ import BENCHES, main
from tests.bench.rounds import Round, Side, percentile, ratio


@pytest.mark.parametrize("name", BENCHES)
def test_a_benchmark_runs(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each benchmark gives rows of figures, as a table and as JSON, and every figure is more than nothing."""
    main([name, "--quick", "--json", str(tmp_path / "figures.json")])
    figures = json.loads((tmp_path / "figures.json").read_text())["figures"]
    assert [name] == list(figures)
    assert figures[name]
    assert all(value > 0 for row in figures[name] for value in row.values() if not isinstance(value, str))
    table = capsys.readouterr().out
    assert all(key in table for key in figures[name][0])


def test_an_unknown_benchmark_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is no benchmark is refused with those that are."""
    with pytest.raises(SystemExit):
        main(["lightning"])
    assert "there is no lightning: choose from latency, burst" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("percent", "expected"), [(1, 1), (50, 50), (50.5, 51), (99, 99), (99.5, 100), (100, 100)]
)
def test_a_percentile_is_the_nearest_rank(percent: float, expected: int) -> None:
    """A percentile is the smallest value that at least so many of the values do not exceed (nearest rank)."""
    assert expected == percentile([*range(100, 0, -1)], percent)


def test_one_round_that_was_disturbed_does_not_change_a_ratio() -> None:
    """The ratio is the middle of the ratios of rounds next to each other."""
    ours = Side([Round([3]), Round([300]), Round([6])])
    theirs = Side([Round([2]), Round([2]), Round([4])])
    assert 1.5 == ratio(ours, theirs, 50)
