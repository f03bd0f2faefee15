"""The state of one chain, driven at random beside a simple model of the node and the wire."""

from __future__ import annotations

import copy
from dataclasses import dataclass

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from adapters.outputs.frame import KEEP_ALIVE
from adapters.outputs.pace import NEVER
from adapters.outputs.window import (
    ASK_EVERY,
    KEEP_ALIVE_AFTER,
    PROMPT,
    SILENT_AFTER,
    Phase,
    Window,
)
from bridge.events import MILLISECOND, SECOND, Instant

LEVELS = st.sampled_from([b"\x0a", b"\x0b", b"\x0c", b"\x0d"])
STEPS = st.one_of(
    st.integers(0, 30 * MILLISECOND),
    st.integers(0, 300 * MILLISECOND),
    st.integers(0, 7 * SECOND),
    st.sampled_from([PROMPT, KEEP_ALIVE_AFTER, SILENT_AFTER, ASK_EVERY]),
)


@dataclass
class Sent:
    """One frame as the model remembers it."""

    sequence: int
    at: Instant
    flags: int
    levels: bytes


class ChainAndNode(RuleBasedStateMachine):
    """A window, the link that carries its frames, and a node that shows and acknowledges some of them.

    The model keeps frames in plain lists and works out for itself whether each frame that goes out was
    allowed to. `heard` is when the node gave its last sign of life, None before the first.
    """

    @initialize(ordinal=st.sampled_from([0, 2**32 - 6, 2**32 - 2, 2**31 - 3]))
    def begin(self, ordinal: int) -> None:
        self.window = Window(ordinal=ordinal)
        self.now: Instant = 0
        self.free = True
        self.unacknowledged: list[Sent] = []  # since the node's last acknowledgement, loss or new term
        self.everything: list[Sent] = []  # in this term, newest last
        self.heard: Instant | None = None
        self.silent = False
        self.round_trip: Instant | None = None
        self.owed = False  # a whole frame is due, whatever it holds
        self.at_node: bytes | None = None  # what it shows once it has read all that was sent
        self.silences = 0
        self.shown_index = -1  # the newest frame of this term that the node acknowledged
        self.last_at: Instant | None = None

    def look(self) -> None:
        """Do what an output does: notice silence, then send what may go, if the link is free."""
        expected = self.is_overdue()
        assert expected is self.window.unanswered(self.now)
        if expected:
            self.lose()
            self.silences += 1
        flags = self.window.offer(self.now) if self.free else None
        if flags is None:
            return
        levels = self.window.newest
        assert levels is not None
        sent = Sent(self.window.sequence, self.now, flags, levels)
        self.judge(sent)
        self.window.sent(self.now, flags)
        if self.heard is None or self.silent:
            self.unacknowledged.clear()
        self.unacknowledged.append(sent)
        self.everything.append(sent)
        self.owed = False
        self.last_at = self.now
        self.at_node = levels
        assert self.window.offer(self.now) is None, "one frame at a time: nothing is left to send"

    def judge(self, sent: Sent) -> None:
        """Check that a frame was allowed to go out."""
        waited = NEVER if self.last_at is None else self.now - self.last_at
        if self.silent:
            assert self.owed or waited >= ASK_EVERY
            return
        if sent.flags & KEEP_ALIVE:
            assert waited >= KEEP_ALIVE_AFTER
        else:
            assert self.owed or not self.everything or sent.levels != self.everything_levels()
        if self.heard is None:
            return
        prompt = self.round_trip is not None and self.round_trip < PROMPT
        limit = 2 if prompt else 1
        assert len(self.unacknowledged) < limit + (sent.flags & KEEP_ALIVE)
        if self.unacknowledged and not sent.flags:
            assert self.now - self.unacknowledged[0].at < PROMPT, "a second frame behind one that is late"

    def everything_levels(self) -> bytes:
        return self.everything[-1].levels

    def is_overdue(self) -> bool:
        if self.heard is None or self.silent or not self.unacknowledged:
            return False
        return self.now - max(self.heard, self.unacknowledged[0].at) >= SILENT_AFTER

    def lose(self) -> None:
        self.silent = True
        self.owed = False
        self.unacknowledged.clear()
        self.round_trip = None

    @rule(levels=LEVELS)
    def show(self, levels: bytes) -> None:
        self.window.put(levels)
        self.look()

    @rule(step=STEPS)
    def wait(self, step: Instant) -> None:
        """Let time pass, waking whenever the window asked for it."""
        until = self.now + step
        while (due := self.window.due(self.now)) <= until and self.free:
            assert due >= self.now
            self.now = due
            before = len(self.everything), self.silences
            self.look()
            assert before != (len(self.everything), self.silences), "woken for nothing"
        self.now = until
        self.look()

    @rule()
    def congest(self) -> None:
        self.free = False

    @rule()
    def clear(self) -> None:
        self.free = True
        self.look()

    @precondition(lambda self: self.everything)
    @rule(data=st.data())
    def acknowledge(self, data: st.DataObject) -> None:
        """The node shows some frame of this term, new or old."""
        index = data.draw(st.integers(max(0, len(self.everything) - 6), len(self.everything) - 1))
        shown = self.everything[index]
        newer = [sent for sent in self.everything[index + 1 :] if sent in self.unacknowledged]
        news = index > self.shown_index
        assert news is self.window.acknowledged(shown.sequence, self.now)
        if not news:
            return
        self.shown_index = index
        if shown in self.unacknowledged:
            self.round_trip = self.now - shown.at
        self.unacknowledged = newer
        if self.silent:
            self.owed = True
            self.unacknowledged = []
        self.heard, self.silent = self.now, False
        self.look()

    @rule(ahead=st.integers(0, 2**31))
    def acknowledge_what_was_never_sent(self, ahead: int) -> None:
        assert not self.window.acknowledged((self.window.sequence + ahead) % 2**32, self.now)

    @rule()
    def announce(self) -> None:
        self.window.announced(self.now)
        self.unacknowledged.clear()
        self.round_trip = None
        self.heard, self.silent, self.owed = self.now, False, True
        self.at_node = None
        self.look()

    @rule()
    def go(self) -> None:
        self.window.gone()
        self.heard = self.now if self.heard is None else self.heard
        self.lose()
        self.at_node = None

    @rule()
    def lose_the_link(self) -> None:
        self.window.refresh()
        self.unacknowledged.clear()
        self.owed = True
        self.at_node = None
        self.look()

    @rule()
    def begin_a_new_term(self) -> None:
        self.window.restart()
        self.unacknowledged.clear()
        self.everything.clear()
        self.shown_index = -1
        self.owed = True
        self.at_node = None
        self.look()

    @rule()
    def settle(self) -> None:
        """Let the link be free and the node acknowledge all it is sent: it ends up with the newest."""
        self.clear()
        for _ in range(4):
            if self.everything:
                shown = self.everything[-1]
                if self.window.acknowledged(shown.sequence, self.now):
                    self.round_trip = self.now - shown.at if shown in self.unacknowledged else self.round_trip
                    self.shown_index = len(self.everything) - 1
                    self.unacknowledged = []
                    self.owed = self.owed or self.silent
                    self.heard, self.silent = self.now, False
            self.look()
        if not self.silent:
            assert self.window.newest == self.at_node
            assert self.window.newest is None or self.now < self.window.due(self.now)

    @invariant()
    def the_limit_holds(self) -> None:
        """Never more than two frames on the way to a node that was heard, beside one keep-alive."""
        if not hasattr(self, "window"):
            return
        assert len(self.unacknowledged) == self.window.on_the_way
        assert self.window.on_the_way <= 3
        if self.heard is not None:
            assert sum(1 for sent in self.unacknowledged if not sent.flags & KEEP_ALIVE) <= 2

    @invariant()
    def the_phase_is_what_the_model_says(self) -> None:
        if not hasattr(self, "window"):
            return
        assert (self.heard is None) is (self.window.phase is Phase.UNHEARD)
        assert self.silent is (self.window.phase is Phase.SILENT)

    @invariant()
    def nothing_is_due_before_it_says_so(self) -> None:
        """Just before the instant that `due` names there is nothing to send and nobody falls silent."""
        if not hasattr(self, "window"):
            return
        due = self.window.due(self.now)
        if due > self.now:
            just_before = min(due - 1, self.now + 100 * SECOND)
            assert None is self.window.offer(just_before)
            assert not copy.deepcopy(self.window).unanswered(just_before)

    @invariant()
    def the_counters_add_up(self) -> None:
        if not hasattr(self, "window"):
            return
        counters = self.window.counters
        assert counters.kept_alive <= counters.sent
        assert counters.acknowledged <= counters.sent


TestChainAndNode = ChainAndNode.TestCase
TestChainAndNode.settings = settings(max_examples=80, stateful_step_count=40, deadline=None)
