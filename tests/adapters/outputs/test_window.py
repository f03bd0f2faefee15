"""The state of one chain, rule by rule."""

from __future__ import annotations

import pytest

from adapters.outputs.frame import KEEP_ALIVE
from adapters.outputs.pace import NEVER
from adapters.outputs.window import PHASES, Counters, Phase, Step, Window
from bridge.events import MILLISECOND, SECOND, Instant

A, B, C, D = b"\x0a", b"\x0b", b"\x0c", b"\x0d"
MS = MILLISECOND


def push(window: Window, now: Instant, levels: bytes | None = None) -> tuple[int, bytes] | None:
    """Show `levels`, send what may go, and return its flags and levels."""
    if levels is not None:
        window.put(levels)
    flags = window.offer(now)
    if flags is None or window.newest is None:
        return None
    window.sent(now, flags)
    return flags, window.newest


def acknowledge(window: Window, now: Instant) -> bool:
    """Acknowledge the frame that went out last."""
    return window.acknowledged(window.sequence - 1, now)


def answering(round_trip: Instant = 10 * MS, ordinal: int = 0) -> Window:
    """A chain that has acknowledged its first frame, A, at the instant 0."""
    window = Window(ordinal=ordinal)
    push(window, -round_trip, A)
    acknowledge(window, 0)
    return window


def test_a_chain_without_levels_has_nothing_to_send() -> None:
    """Neither news nor a keep-alive."""
    window = Window()
    window.announced(0)
    assert None is window.offer(0)
    assert NEVER == window.due(0)


def test_an_unheard_chain_gets_everything_at_once() -> None:
    """A plain subscriber that acknowledges nothing is shown each frame."""
    window = Window()
    assert [(0, levels) for levels in (A, B, C, D)] == [push(window, 0, levels) for levels in (A, B, C, D)]


def test_an_unheard_chain_never_falls_silent() -> None:
    """It never promised to answer, so it has no health to report."""
    window = Window()
    push(window, 0, A)
    assert not window.unanswered(1000 * SECOND)
    assert Phase.UNHEARD is window.phase


def test_levels_that_went_out_already_are_no_news() -> None:
    """Idle is silent, even if the same picture is shown again."""
    window = answering()
    assert None is push(window, 1 * MS, A)


def test_a_prompt_chain_may_have_two_frames_on_the_way() -> None:
    """The third waits for an acknowledgement."""
    window = answering()
    assert [(0, B), (0, C), None] == [push(window, 1 * MS, levels) for levels in (B, C, D)]
    assert 2 == window.on_the_way


def test_a_slow_chain_may_have_one_frame_on_the_way() -> None:
    """So its next frame is always the newest state."""
    window = answering(round_trip=50 * MS)
    assert [(0, B), None] == [push(window, 1 * MS, levels) for levels in (B, C)]


def test_a_greeted_chain_is_not_prompt_before_it_has_shown_so() -> None:
    """Until the first round trip one frame is on the way."""
    window = Window()
    window.announced(0)
    assert [(0, A), None] == [push(window, 0, levels) for levels in (A, B)]


def test_a_prompt_chain_that_is_late_is_not_prompt() -> None:
    """A frame that has been on the way for 50 ms gets no second one behind it."""
    window = answering()
    assert (0, B) == push(window, 0, B)
    assert None is push(window, 50 * MS, C)


def test_an_acknowledgement_lets_the_newest_go() -> None:
    """What was shown in between is passed over, and counted."""
    window = answering(round_trip=100 * MS)
    push(window, 0, B)
    for levels in (C, D, C, D):
        assert None is push(window, 1 * MS, levels)
    acknowledge(window, 100 * MS)
    assert (0, D) == push(window, 100 * MS)
    assert 3 == window.counters.skipped


def test_a_change_that_is_taken_back_while_it_waits_is_not_sent() -> None:
    """The node shows the newest picture already."""
    window = answering(round_trip=100 * MS)
    push(window, 0, B)
    assert None is push(window, 1 * MS, C)
    assert None is push(window, 2 * MS, B)
    acknowledge(window, 100 * MS)
    assert None is window.offer(100 * MS)


def test_an_acknowledgement_counts_for_all_older_frames() -> None:
    """The node shows the newest it was sent and passes over the rest."""
    window = answering()
    push(window, 0, B)
    push(window, 0, C)
    assert acknowledge(window, 5 * MS)
    assert 0 == window.on_the_way
    assert 5 * MS == window.counters.round_trip_ns


def test_an_acknowledgement_of_the_older_frame_frees_one_place() -> None:
    """The newer one is still on the way."""
    window = answering()
    push(window, 0, B)
    push(window, 0, C)
    assert window.acknowledged(window.sequence - 2, 5 * MS)
    assert 1 == window.on_the_way
    assert (0, D) == push(window, 6 * MS, D)


@pytest.mark.parametrize("ordinal", [0, 2**32 - 3, 2**32 - 2, 2**32 - 1, 2**32, 2**31 - 2, 2**40])
def test_the_sequence_wraps_without_anybody_noticing(ordinal: int) -> None:
    """Wherever the count stands, old, repeated and never-sent sequences say nothing, and the newest counts."""
    window = answering(ordinal=ordinal)
    acknowledged = (window.sequence - 1) % 2**32
    push(window, 1 * MS, B)
    push(window, 1 * MS, C)
    on_the_way = (window.sequence - 1) % 2**32
    assert (ordinal + 3) % 2**32 == on_the_way
    for sequence in (
        acknowledged,
        (acknowledged - 1) % 2**32,
        (acknowledged - 1000) % 2**32,
        (on_the_way + 1) % 2**32,
        (on_the_way + 2**31) % 2**32,
    ):
        assert not window.acknowledged(sequence, 2 * MS)
    assert 2 == window.on_the_way
    assert window.acknowledged(on_the_way, 2 * MS)
    assert not window.acknowledged(on_the_way, 2 * MS)
    assert 0 == window.on_the_way


def test_a_keep_alive_goes_a_second_after_the_last_frame() -> None:
    """Whole, flagged, and not a nanosecond early."""
    for window in (answering(), Window()):
        push(window, 0, B)
        if window.phase is Phase.ANSWERING:
            acknowledge(window, 1 * MS)
        assert 1 * SECOND == window.due(1 * MS)
        assert None is push(window, 1 * SECOND - 1)
        assert (KEEP_ALIVE, B) == push(window, 1 * SECOND)
        assert 1 == window.counters.kept_alive


def test_a_keep_alive_is_never_the_third_frame_on_the_way() -> None:
    """With two unacknowledged it waits, and an acknowledgement lets the newest go."""
    window = answering()
    push(window, 0, B)
    push(window, 0, C)
    assert None is push(window, 2 * SECOND, D)
    assert 2 == window.on_the_way
    acknowledge(window, 2 * SECOND)
    assert (0, D) == push(window, 2 * SECOND)


@pytest.mark.parametrize("round_trip", [10 * MS, 999 * MS])
def test_a_keep_alive_makes_good_a_frame_that_was_lost(round_trip: Instant) -> None:
    """A second after it, with the newest levels, as the second on the way; no other follows."""
    window = answering(round_trip=round_trip)
    push(window, 0, B)
    assert None is push(window, 1 * SECOND - 1, C)
    assert (KEEP_ALIVE, D) == push(window, 1 * SECOND, D)
    assert 2 == window.on_the_way
    assert None is push(window, 2 * SECOND)


def test_a_node_slower_than_a_frame_a_second_is_one_frame_behind() -> None:
    """A keep-alive waits for its answer too, so the frame after it is the newest, however slow the node."""
    window = answering(round_trip=1500 * MS)
    assert (KEEP_ALIVE, A) == push(window, 1 * SECOND)
    assert None is push(window, 2 * SECOND, B)
    acknowledge(window, 2500 * MS)
    assert (0, B) == push(window, 2500 * MS)


def test_a_chain_that_acknowledges_nothing_for_three_seconds_is_silent() -> None:
    """Once, and counted from the last acknowledgement or the frame after it."""
    window = answering()
    push(window, 1 * SECOND)
    assert not window.unanswered(4 * SECOND - 1)
    assert window.unanswered(4 * SECOND)
    assert not window.unanswered(5 * SECOND)
    assert Phase.SILENT is window.phase


def test_an_acknowledgement_of_an_older_frame_puts_silence_off() -> None:
    """The node lives, slow as it is."""
    window = answering()
    push(window, 0, B)
    push(window, 0, C)
    window.acknowledged(window.sequence - 2, 2 * SECOND)
    assert not window.unanswered(5 * SECOND - 1)
    assert window.unanswered(5 * SECOND)


def test_a_chain_that_was_sent_nothing_is_not_silent() -> None:
    """There was nothing to acknowledge."""
    assert not answering().unanswered(1000 * SECOND)


def test_a_silent_chain_is_asked_each_five_seconds() -> None:
    """With one whole frame, so that no stale ones wait in the broker."""
    window = answering()
    push(window, 0, B)
    window.unanswered(3 * SECOND)
    assert None is push(window, 3 * SECOND, C)
    assert 5 * SECOND == window.due(3 * SECOND)
    assert None is push(window, 5 * SECOND - 1, D)
    assert (KEEP_ALIVE, D) == push(window, 5 * SECOND)
    assert None is push(window, 10 * SECOND - 1, A)
    assert (KEEP_ALIVE, A) == push(window, 10 * SECOND)


def test_a_silent_chain_that_acknowledges_gets_the_newest_at_once() -> None:
    """Any acknowledgement does, also one of a frame from before the silence."""
    window = answering()
    push(window, 0, B)
    before = window.sequence - 1
    window.unanswered(3 * SECOND)
    push(window, 5 * SECOND)
    assert window.acknowledged(before, 6 * SECOND)
    assert Phase.ANSWERING is window.phase
    assert (0, B) == push(window, 6 * SECOND)


def test_an_announcement_forgets_what_was_on_the_way() -> None:
    """The node booted or came back: what it was sent before is lost, and it gets a whole frame at once."""
    window = answering()
    push(window, 0, B)
    push(window, 0, C)
    window.announced(1 * MS)
    assert Phase.GREETED is window.phase
    assert 0 == window.on_the_way
    assert (0, C) == push(window, 1 * MS)
    assert None is push(window, 2 * MS, D)  # how prompt it is has to be seen anew


def test_a_greeted_chain_that_never_acknowledges_falls_silent() -> None:
    """A kept announcement can be older than the node's end."""
    window = Window()
    window.announced(0)
    push(window, 0, A)
    assert window.unanswered(3 * SECOND)


def test_a_chain_whose_node_is_gone_is_silent() -> None:
    """Known at once, without waiting."""
    window = answering()
    push(window, 0, B)
    window.gone()
    assert Phase.SILENT is window.phase
    assert None is push(window, 1 * SECOND, C)
    assert (KEEP_ALIVE, C) == push(window, 5 * SECOND)


def test_a_link_that_was_down_brings_a_whole_frame() -> None:
    """To every chain, a silent one too, whatever it was sent before."""
    for window in (Window(), answering(), answering()):
        push(window, 0, B)
        push(window, 0, C)
    window.gone()
    for chain in (window, answering()):
        chain.refresh()
        assert 0 == chain.on_the_way
        assert 1 * MS == chain.due(1 * MS)
        assert (0, chain.newest) == push(chain, 1 * MS)
        assert None is push(chain, 2 * MS)


def test_acknowledgements_of_the_term_before_say_nothing() -> None:
    """A new term brings a whole frame, and only that and later ones can be acknowledged."""
    window = answering()
    push(window, 0, B)
    before = window.sequence - 1
    window.restart()
    assert not window.acknowledged(before, 1 * MS)
    assert (0, B) == push(window, 1 * MS)
    assert acknowledge(window, 2 * MS)


def test_the_first_acknowledgement_of_an_unheard_chain_sets_its_limit() -> None:
    """Frames that went out after the acknowledged one are still on the way."""
    window = Window()
    for levels in (A, B, C):
        push(window, 0, levels)
    assert window.acknowledged(window.sequence - 3, 100 * MS)
    assert Phase.ANSWERING is window.phase
    assert None is push(window, 100 * MS, D)
    assert acknowledge(window, 110 * MS)
    assert (0, D) == push(window, 110 * MS)


def test_everything_is_counted() -> None:
    """Sent, of these kept alive, passed over, acknowledged, and the last round trip."""
    window = answering(round_trip=100 * MS)
    push(window, 0, B)
    push(window, 1 * MS, C)
    push(window, 1 * MS, D)
    acknowledge(window, 200 * MS)
    push(window, 200 * MS)
    acknowledge(window, 300 * MS)
    push(window, 1200 * MS)
    expected = Counters(sent=4, skipped=1, kept_alive=1, acknowledged=3, round_trip_ns=100 * MS)
    assert expected == window.counters


@pytest.mark.parametrize("step", Step)
@pytest.mark.parametrize("phase", Phase)
def test_every_step_is_known_in_every_phase(phase: Phase, step: Step) -> None:
    """The table has no holes, and only a chain that was ever heard of can be silent for want of an answer."""
    after = PHASES[phase][step]
    expected = {
        Step.ANNOUNCED: Phase.GREETED,
        Step.ACKNOWLEDGED: Phase.ANSWERING,
        Step.GONE: Phase.SILENT,
        Step.UNANSWERED: Phase.UNHEARD if phase is Phase.UNHEARD else Phase.SILENT,
    }
    assert expected[step] is after
