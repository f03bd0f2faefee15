"""Automatic signalling by the sequence of a set: each signal one step further than the next, to the bytes."""

from __future__ import annotations

from typing import Final

import pytest

from bridge.engine import Engine
from bridge.events import SECOND, BlockReported, BlockState
from bridge.layout.rules import RULE_SETS
from tests.support.driving import aspects, layout

RED, YELLOW, GREEN = "red", "yellow", "green"
LAMPS: Final = {
    "plain": [RED, YELLOW, GREEN],
    "route-signals": [RED, YELLOW, GREEN],
    "speed-signals": [RED, YELLOW, GREEN],
    "gb-three-aspect": [GREEN, YELLOW, RED],
    "gb-four-aspect": ["upper-yellow", GREEN, YELLOW, RED],
    "ks-signals": [RED, GREEN, YELLOW],
    "hp-signals": [GREEN, RED, YELLOW],
}
SIGNALS: Final = 6


def line(aspects: str, lamps: list[str]) -> str:
    """Return a layout of block signals one behind another; the last leads to a signal that nothing is known of."""
    chips = ", ".join(["ws2811"] * len(lamps))
    lit = ", ".join(f"{lamp}: {{chip: {number}, channel: 1}}" for number, lamp in enumerate(lamps, start=1))
    fixtures = ", ".join(f"{{name: B{number}, build: mast}}" for number in range(SIGNALS))
    ahead = [f"blocks: [b{number}], next: B{number + 1}" for number in range(SIGNALS - 1)]
    ahead.append(f"blocks: [b{SIGNALS - 1}]")
    signals = "".join(f"  B{number}: {{{aspects}, ahead: [{{{way}}}]}}\n" for number, way in enumerate(ahead))
    blocks = "".join(f"  b{number}: {{}}\n" for number in range(SIGNALS))
    return (
        f"layout: Line\nsources: {{panel: {{kind: mqtt}}}}\nbuilds:\n  mast: {{chips: [{chips}], lamps: {{{lit}}}}}\n"
        f"nodes:\n  bench: {{chains: [{{name: one, fixtures: [{fixtures}]}}]}}\n"
        f"blocks:\n{blocks}signals:\n{signals}"
    )


def report(engine: Engine, block: int, state: BlockState) -> None:
    """Tell of one block."""
    engine.handle(BlockReported(at=engine.now, source="panel", name=f"b{block}", state=state))


def all_clear(text: str) -> Engine:
    """Return an engine on whose line every block was reported clear for long enough."""
    engine = Engine(layout(text))
    engine.start()
    for block in range(SIGNALS):
        report(engine, block, BlockState.CLEAR)
    engine.advance(10 * SECOND)
    return engine


@pytest.mark.parametrize("rules", LAMPS)
def test_line_steps_up_behind_a_train(rules: str) -> None:
    """A signal into an occupied block is at its most restrictive; behind it each shows the next of the sequence.

    49 CFR 236.205 and 236.24 for three aspects; the Network Rail glossary for four.
    """
    engine = all_clear(line(f"aspects: {rules}", LAMPS[rules]))
    sequence = RULE_SETS[rules].sequence
    for train in range(1, SIGNALS):
        report(engine, train, BlockState.OCCUPIED)
        shown = aspects(engine)
        for number in range(train + 1):
            clear_ahead = min(train - number, len(sequence) - 1)
            assert sequence[clear_ahead] == shown[f"B{number}"]
        report(engine, train, BlockState.CLEAR)
        engine.advance(engine.now + 10 * SECOND)


def test_four_aspects_of_north_america() -> None:
    """With a sequence of four the second signal behind a train flashes yellow: R, Y, fY, G of a commuter railroad."""
    sequence = ("stop", "approach", "advance-approach", "clear")
    text = line(f"aspects: speed-signals, sequence: [{', '.join(sequence)}]", LAMPS["speed-signals"])
    engine = all_clear(text)
    report(engine, 4, BlockState.OCCUPIED)
    assert list(reversed(sequence)) == [aspects(engine)[f"B{number}"] for number in (1, 2, 3, 4)]
    engine.advance(engine.now + SECOND // 2)
    second = engine.present_frames()[0][18:27]
    assert bytes(9) == second


def test_plated_signals_step_up_as_well() -> None:
    """Signals with a number plate show stop-and-proceed into an occupied block, and the same beyond."""
    engine = all_clear(line("plate: true", LAMPS["plain"]))
    report(engine, 2, BlockState.OCCUPIED)
    assert ["clear", "approach", "stop-and-proceed"] == [
        aspects(engine)[f"B{number}"] for number in (0, 1, 2)
    ]
