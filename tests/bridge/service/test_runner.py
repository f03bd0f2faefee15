"""The runner between adapters that do what they should not: nothing is lost, and the log stays in order."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from adapters.contract import Raw
from bridge.errors import DecodeError, EngineError
from bridge.events import SECOND, Event, LinkState
from bridge.record.replay import replay
from bridge.service.runner import LEFT_OUT
from tests.support.adapters import Output, Source, furnished, ran
from tests.support.driving import FERNHOLLOW
from tests.support.log_lines import log_lines
from tests.support.memory_broker import turns
from tests.support.waiting import until


async def test_order_is_shown_before_it_is_written_down_and_the_session_replays(tmp_path: Path) -> None:
    """What comes in is decoded, decided and shown at once; the log gives the same frames again."""
    async with ran(tmp_path) as found:
        output = found.outputs["mqtt"]
        before = len(output.frames)
        found.sources["panel"].order("61 reverse")
        assert 1 == len(output.frames) - before
    assert replay(found.log).same
    assert 1 == found.runner.tally.counts["events"]


async def test_what_an_output_tells_while_it_shows_waits_for_the_end_of_that_step(tmp_path: Path) -> None:
    """The log has the order first and the news of the node behind it, as the engine had them.

    Pitfall: handled inside `show`, the news gets the number of the order, and the session does not replay.
    """
    async with ran(tmp_path) as found:
        output = found.outputs["mqtt"]
        output.showing = lambda index: output.host.node(output.places[index].node, LinkState.LOST, "invented")
        found.sources["panel"].order("61 reverse,63 reverse")
        output.showing = lambda _index: None
        await turns()
        found.sources["panel"].order("61 normal")
    assert replay(found.log).same
    assert [1, 3, 4] == [line["in"] for line in log_lines(found.log) if "in" in line]


async def test_what_an_adapter_tells_at_its_start_waits_for_the_first_picture(tmp_path: Path) -> None:
    """A source that is lost before anything is shown, and a node that is heard: the log begins with the picture."""
    found = furnished(tmp_path)
    output, source = found.outputs["mqtt"], found.sources["panel"]

    async def tell() -> None:
        output.host.node("east", LinkState.UP, "invented")
        source.host.link(LinkState.LOST, "invented")
        source.order("61 reverse")

    output.starting = tell
    await found.runner.start()
    await turns()
    await found.runner.stop()
    assert 3 == found.runner.tally.counts["events"]
    assert replay(found.log).same


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda events: (*events[:-1], replace(events[-1], at=events[-1].at - 1)), "an event is stamped"),
        (
            lambda events: (*events[:-1], replace(events[-1], at=events[-1].at + SECOND)),
            "an event is stamped",
        ),
        (lambda events: (*events[:-1], replace(events[-1], source="booster")), "comes from 'booster'"),
        (lambda events: (*events, "61 reverse"), "'61 reverse' is no event"),
        (list, "it gave list, and not a tuple"),
        (lambda _events: None, "it gave NoneType, and not a tuple"),
    ],
)
async def test_message_with_one_event_that_breaks_the_contract_has_no_effect_at_all(
    tmp_path: Path, spoil: Any, said: str
) -> None:
    """It is refused before its first event is handled, with the source's name; what comes after it is obeyed."""
    async with ran(tmp_path) as found:
        source, output = found.sources["panel"], found.outputs["mqtt"]
        before = len(output.frames)
        source.changing = spoil
        source.order("61 reverse,63 reverse")
        assert before == len(output.frames)
        source.changing = lambda events: events
        source.order("61 reverse")
        assert 1 == len(output.frames) - before
    [note] = [text for text in found.told() if "failed on it" in text]
    assert "what panel sent means nothing here" in note
    assert said in note
    assert {"events": 1, "refused": 1} == {
        key: found.runner.tally.counts[key] for key in ("events", "refused")
    }
    assert replay(found.log).same


async def test_engine_that_refuses_an_event_leaves_a_log_of_those_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of one message the first event was handled and the second was not: the log has the first, and replays."""
    async with ran(tmp_path) as found:
        handle, handled = found.runner.engine.handle, 0

        def second_fails(event: Event) -> Any:
            nonlocal handled
            handled += 1
            if handled == 2:
                raise EngineError("invented")
            return handle(event)

        monkeypatch.setattr(found.runner.engine, "handle", second_fails)
        with pytest.raises(EngineError):
            found.sources["panel"].order("61 reverse,63 reverse")
        found.sources["panel"].order("63 reverse")
    assert replay(found.log).same
    assert 2 == found.runner.tally.counts["events"]


async def test_source_that_hangs_at_the_end_keeps_no_last_frame_back(tmp_path: Path) -> None:
    """The last frames are out before anything else is ended; whoever hangs is left after a moment, and named."""
    async with ran(tmp_path) as found:
        over = asyncio.Event()

        async def hang() -> None:
            await over.wait()

        found.outputs["mqtt"].stopping = hang
        for source in found.sources.values():
            source.stopping = hang
        stopping = asyncio.create_task(found.runner.stop())
        try:
            await until(stopping.done)
        finally:
            over.set()
            await stopping
        assert len(found.runner.engine.layout.chains) == len(found.outputs["mqtt"].last or ())
    said = "did not stop within 0.3 s: the rest goes on without it"
    expected = [f"the {name} {said}" for name in ("output mqtt", "source panel", "source booster")]
    assert expected == [text for text in found.told() if "did not stop" in text]
    await turns()
    assert {asyncio.current_task()} == asyncio.all_tasks()
    assert replay(found.log).same


async def test_adapter_that_fails_is_told_by_name_and_touches_no_other(tmp_path: Path) -> None:
    """At the start and at the end: the others start, show and stop as if nothing had happened."""

    async def fail() -> None:
        raise OSError("the port is gone")

    found = furnished(tmp_path)
    found.outputs["mqtt"].starting = fail
    found.sources["panel"].listening = fail
    await found.runner.start()
    found.sources["booster"].order("61 reverse")
    found.sources["booster"].stopping = fail
    await found.runner.stop()
    assert ["the output mqtt failed to start: the port is gone"] == [
        text for text in found.told() if "failed to start" in text
    ]
    assert ["the source booster failed to stop: OSError: the port is gone"] == [
        text for text in found.told() if "failed to stop" in text
    ]
    [fault] = [text for text in found.told() if "events from panel" in text]
    assert "do not come in: a fault of the source itself, OSError: the port is gone in adapters.py" in fault
    assert 2 == found.runner.tally.counts["events"], "the order, and that panel is lost"
    assert found.outputs["mqtt"].last is not None


async def test_output_that_is_slow_to_start_holds_up_nobody_and_may_yet_come(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told by name and goes on starting; should it fail later, that is told too."""
    monkeypatch.setattr("bridge.service.runner.START_WITHIN", 0.05)
    gate = asyncio.Event()

    async def slow() -> None:
        await gate.wait()
        raise OSError("nobody is there")

    found = furnished(tmp_path)
    found.outputs["mqtt"].starting = slow
    await found.runner.start()
    found.sources["booster"].order("61 reverse")
    assert 1 == found.runner.tally.counts["events"]
    gate.set()
    await until(lambda: "the output mqtt failed to start: nobody is there" in found.told())
    assert "the output mqtt did not start within 0.05 s: the rest goes on without it" in found.told()
    await found.runner.stop()


async def test_what_comes_in_after_the_end_changes_nothing(tmp_path: Path) -> None:
    """The log has ended, and the last picture is the last one."""
    async with ran(tmp_path) as found:
        output = found.outputs["mqtt"]
        await found.runner.stop()
        shown = len(output.frames)
        found.sources["panel"].order("61 reverse")
        output.host.node("east", LinkState.LOST, "invented")
        await turns()
        assert shown == len(output.frames)
        assert 0 == found.runner.tally.counts["events"]
    assert "end" in log_lines(found.log)[-1]


async def test_a_log_that_cannot_keep_up_is_told_once(tmp_path: Path) -> None:
    """The lights go on, and what is left out is counted in the log itself."""
    async with ran(tmp_path) as found:
        log = found.runner._log
        assert log is not None
        log._most_waiting = 0
        for position in ("reverse", "normal", "reverse"):
            found.sources["panel"].order(f"61 {position}")
        await until(lambda: any(note["text"] == LEFT_OUT for note in found.runner.notes.after(0)))
        log._most_waiting = 1000
        found.sources["panel"].order("61 normal")
        await until(lambda: any("lost" in line for line in log_lines(found.log)))
        assert 1 == [note["text"] for note in found.runner.notes.after(0)].count(LEFT_OUT)
    assert log.left_out == sum(line["lost"] for line in log_lines(found.log) if "lost" in line)


async def test_output_that_fails_to_show_keeps_the_others_lit(tmp_path: Path) -> None:
    """Its fault is told once; the order counts, and the next one is shown."""
    async with ran(tmp_path) as found:
        output = found.outputs["mqtt"]

        def fail(_index: int) -> None:
            raise RuntimeError("invented")

        output.showing = fail
        for position in ("reverse", "normal") * 2:
            found.sources["panel"].order(f"61 {position}")
        shown = len(output.frames)
        output.showing = lambda _index: None
        found.sources["panel"].order("61 reverse")
        assert 1 == len(output.frames) - shown
    assert 1 == len([text for text in found.told() if "failed to show a frame" in text])
    assert replay(found.log).same


async def test_output_is_woken_when_it_said_and_when_it_asks(tmp_path: Path) -> None:
    """By its own instant, by `wake_soon`, and by a new term; one that fails is tried again."""
    async with ran(tmp_path) as found:
        output = found.outputs["mqtt"]
        assert 256 == output.host.term
        woken = len(output.woken)
        output.waking = lambda: output.host.now() + SECOND // 100
        output.host.wake_soon()
        output.host.wake_soon()
        assert woken == len(output.woken)
        await until(lambda: len(output.woken) >= woken + 3)

        def fail() -> None:
            raise RuntimeError("invented")

        output.waking = fail
        await until(lambda: any("the output mqtt failed: RuntimeError" in text for text in found.told()))
        output.waking = lambda: None
        woken = len(output.woken)
        assert not output.host.term_seen(700)
        await until(lambda: len(output.woken) > woken)
        assert 768 == output.host.term


async def test_hosts_pass_on_what_adapters_tell(tmp_path: Path) -> None:
    """Links of sources, figures of chains, and what a node sent that means nothing: each finds its place."""
    async with ran(tmp_path) as found:
        output, source = found.outputs["mqtt"], found.sources["panel"]
        source.host.link(LinkState.UP, "the cable is in")
        source.order("what")
        output.host.figures(output.places[0], sent=3)
        for _ in range(2):
            output.host.refused(
                Raw("lamproom/shown/east/throat", b"?"), DecodeError("this is no acknowledgement")
            )
        output.host.node("east", LinkState.UP, "it acknowledges")
        assert found.link is source.host.broker is output.host.broker
    assert {"east/throat": {"sent": 3}} == found.runner.figures
    assert ("up", "it acknowledges") == found.runner.nodes["east"]
    assert 3 == found.runner.tally.counts["refused"]
    assert "events from panel come in: the cable is in" in found.told()
    assert 1 == len([text for text in found.told() if "a node sent means nothing here" in text])
    assert 1 == len([text for text in found.told() if "what panel sent means nothing here" in text])
    assert replay(found.log).same


async def test_each_output_of_a_layout_is_one_of_its_own(tmp_path: Path) -> None:
    """Two of one kind share nothing: each has the chains of the nodes that name it, and its own last frames."""
    two = "outputs:\n  hill: {kind: mqtt}\nnodes:\n  east:\n    output: hill\n"
    async with ran(tmp_path, FERNHOLLOW.replace("nodes:\n  east:\n", two)) as found:
        assert ["hill", "mqtt"] == list(found.outputs)
        hill, mqtt = found.outputs.values()
        hill.frames.clear()
        mqtt.frames.clear()
        found.sources["panel"].order("61 reverse")
        assert (1, 0) == (len(hill.frames), len(mqtt.frames))
    for output in (hill, mqtt):
        assert [place.length for place in output.places] == [len(frame) for frame in output.last or ()]


async def test_an_output_that_is_lost_is_told_with_its_line_and_takes_its_nodes_with_it(
    tmp_path: Path,
) -> None:
    """What to look at is named by its keys; where it is not written, the nearest thing around it is."""
    text = FERNHOLLOW.replace("builds:\n", "outputs:\n  mqtt:\n    kind: mqtt\nbuilds:\n", 1)
    at = {line: number for number, line in enumerate(text.splitlines(), 1)}
    lost = "frames of the output mqtt no longer go out"
    async with ran(tmp_path, text) as found:
        host = found.outputs["mqtt"].host
        host.link(LinkState.LOST, "nobody is there: write another", "kind")
        host.link(LinkState.LOST, "a port is in use", "local-port")
        await turns()
        assert {("lost", "a port is in use")} == set(found.runner.nodes.values())
        host.link(LinkState.UP, "they are sent to yard", "host")
        await turns()
        assert {("unheard", "they are sent to yard")} == set(found.runner.nodes.values())
        told = found.told()
    expected = [
        f"{lost}: nobody is there: write another (line {at['    kind: mqtt']} of the layout file)",
        f"{lost}: a port is in use (line {at['  mqtt:']} of the layout file)",
        "frames of the output mqtt go out: they are sent to yard",
    ]
    assert expected == [sentence for sentence in told if "the output mqtt" in sentence]
    assert replay(found.log).same
    reported = [line for line in log_lines(found.log) if "in" in line]
    assert 6 == len(reported), "two nodes, three times"


async def test_adapters_that_cannot_be_made_leave_the_others_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A source whose constructor fails is lost by a fault of its own; an output takes only its own nodes with it."""
    make_source, make_output = Source.__init__, Output.__init__

    def no_panel(self: Source, name: str, options: Any, host: Any) -> None:
        if name == "panel":
            raise RuntimeError("no licence for panels")
        make_source(self, name, options, host)

    def no_hill(self: Output, name: str, options: Any, places: Any, host: Any) -> None:
        if name == "hill":
            raise RuntimeError("hills are out")
        make_output(self, name, options, places, host)

    monkeypatch.setattr(Source, "__init__", no_panel)
    monkeypatch.setattr(Output, "__init__", no_hill)
    two = "outputs:\n  hill: {kind: mqtt}\nnodes:\n  east:\n    output: hill\n"
    async with ran(tmp_path, FERNHOLLOW.replace("nodes:\n  east:\n", two)) as found:
        assert ["booster"] == list(found.sources)
        assert ["mqtt"] == list(found.outputs)
        found.sources["booster"].order("61 reverse")
        assert "failing" == found.runner.sources["panel"].health.state
        assert "lost" == found.runner.nodes["east"][0]
        told = found.told()
    assert any(
        "a fault of the source itself, RuntimeError: no licence for panels in" in text for text in told
    )
    assert any("frames of the output hill no longer go out: it failed to begin" in text for text in told)
    assert replay(found.log).same


STUBBORN = """
import asyncio, sys
from pathlib import Path
from bridge.service.app import Settings, run_until_stopped
from bridge.service.broker import BrokerAddress
from bridge.service.files import look_at_text
from tests.support.adapters import FakeAdapters, Source
from tests.support.driving import FERNHOLLOW

async def listen(self):
    while True:
        try:
            await asyncio.sleep(3600)
        except asyncio.CancelledError:
            pass

Source.listen = listen
looked = look_at_text("layout.yaml", FERNHOLLOW.encode(), FakeAdapters())
settings = Settings(looked, looked.layout, BrokerAddress("127.0.0.1", 9), Path(sys.argv[1]), None)
ready = lambda *said: print("running", flush=True)
asyncio.run(run_until_stopped(settings, FakeAdapters(), make_page=None, ready=ready))
"""


def test_source_that_will_not_end_does_not_keep_the_bridge_from_ending(tmp_path: Path) -> None:
    """It takes every cancellation for something else: the process ends without it, and says so."""
    words = [sys.executable, "-c", STUBBORN, str(tmp_path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as running:
        assert running.stdout is not None
        said = running.stdout.readline()
        while "running" not in said and said:
            said = running.stdout.readline()
        running.terminate()
        rest = running.communicate(timeout=20)[0]
    assert 0 == running.returncode, rest
    assert "the source panel did not stop within 0.3 s" in rest
    assert "will not end, and the bridge ends without it" in rest
