"""Which bridge can light what is newly soldered."""

from __future__ import annotations

import pytest

from bridge.errors import LayoutError
from bridge.layout import Layout
from bridge.service.building import propose_built, why_alone
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters
from tests.support.as_built import YARD

BY_E131 = YARD.replace(
    "nodes:\n", "outputs: {net: {kind: e131, host: 192.0.2.7, chains: {tarn/yard: {universe: 1}}}}\nnodes:\n"
).replace("  tarn:\n", "  tarn:\n    output: net\n")


def readings(text: str) -> tuple[Layout, Layout]:
    """Return what a file describes as built, and as planned."""
    looked = look_at_text("layout.yaml", text.encode(), Adapters())
    assert looked.layout is not None, looked.lines()
    assert looked.planned is not None, looked.lines()
    return looked.layout, looked.planned


@pytest.mark.parametrize(
    ("text", "chain", "why"),
    [
        (YARD, "tarn/yard", ""),
        (YARD, "hill/line", "has no frame for hill/line, of which nothing counts as built yet"),
        (BY_E131, "hill/line", "has no frame for hill/line, of which nothing counts as built yet"),
        (
            BY_E131,
            "tarn/yard",
            "sends tarn/yard frames for what counts as built, so on the output net the rest would stay dark",
        ),
    ],
)
def test_a_bridge_that_runs_lights_what_its_frames_reach(text: str, chain: str, why: str) -> None:
    """A longer chain by MQTT; not a chain that it has no frame for, and not behind the end of a universe's chain."""
    now, then = readings(text)
    assert why == why_alone(now, then, chain, Adapters())


def test_a_chain_that_stays_as_long_is_lit_by_any_bridge() -> None:
    """As for the finder, which looks at what is built."""
    now, _then = readings(BY_E131)
    assert "" == why_alone(now, now, "tarn/yard", Adapters())


def test_a_proposal_has_both_readings_of_the_file(tmp_path_factory: pytest.TempPathFactory) -> None:
    """What a bridge has read now, and what it would read; a chain that is not there is told of."""
    file = tmp_path_factory.mktemp("layout") / "layout.yaml"
    file.write_text(YARD, encoding="utf-8")
    proposal = propose_built(str(file), "tarn/yard", (), Adapters())
    assert YARD == proposal.now.file.text
    assert YARD.replace("mast, planned: true}", "mast}") == proposal.then.file.text
    assert len(proposal.test[0].picture) == proposal.then.layout.chains[0].length
    with pytest.raises(LayoutError, match="no chain is called 'tarn/yrd'"):
        why_alone(proposal.now.layout, proposal.then.layout, "tarn/yrd", Adapters())
