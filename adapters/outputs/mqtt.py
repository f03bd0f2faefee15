"""Frames that go out over MQTT: one message a chain, the newest first and never a queue.

What is due when is decided in `window.py`, one `Window` a chain; here it meets the link, the term and the nodes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Final

from adapters.contract import ChainPlace, Options, OutputHost, Raw
from adapters.cut import cut
from adapters.outputs.figures import Figures
from adapters.outputs.frame import LAMP_TEST, LAST, encode
from adapters.outputs.node_talk import (
    NODE_FILTER,
    SHOWN_FILTER,
    frame_topic,
    node_topic,
    read_announcement,
    read_shown,
    shown_topic,
)
from adapters.outputs.pace import NEVER
from adapters.outputs.window import KEEP_ALIVE_AFTER, SILENT_AFTER, Phase, Window
from bridge.errors import DecodeError, LayoutError
from bridge.events import MILLISECOND, SECOND, Instant, LinkState

LINK_AGAIN: Final = 2 * MILLISECOND
"""A frame that found the link congested is tried again after this."""


class MqttFramesOptions(Options):
    """An MQTT output has no keys of its own: broker and nodes are the bridge's and the layout's."""


@dataclass(slots=True, eq=False)
class _Node:
    """One node: what it was last said to be, and its chains."""

    name: str
    lanes: list[_Lane] = field(default_factory=list)
    state: LinkState | None = None
    missed: bool = False  # the link was down for too long, so it could not be heard
    obeys: int | None = (
        None  # a higher term than ours: another bridge's, and its node as long as it is higher
    )


@dataclass(slots=True, eq=False)
class _Lane:
    """One chain: its topic, its window, and what was last told of it."""

    index: int
    place: ChainPlace
    topic: str
    node: _Node
    window: Window
    figures: Figures


class MqttFrames:
    """A frame output: each chain's newest frame goes out at once, or as soon as the link and the node allow.

    A node's health is that of its chains. It is up when every chain that has something to show acknowledges,
    and lost when one of them does not: a picture that is not known to be shown is not to be relied upon. A
    node that never said a word has no health, and its chains get every frame. When the link has been down for as
    long as makes a node silent, no node is known to show anything: those that had a health are lost with it.

    A node that obeys another bridge, under a higher term than ours, is sent nothing until ours is above that one.
    """

    options: ClassVar[type[Options]] = MqttFramesOptions
    any_length: ClassVar[bool] = True

    def __init__(
        self,
        name: str,
        options: Options,  # noqa: ARG002 - every output is made with options; this one has none
        places: tuple[ChainPlace, ...],
        host: OutputHost,
    ) -> None:
        """Make an output that sends nothing yet.

        Args:
            name: the output's name in the layout file.
            options: a `MqttFramesOptions`.
            places: the chains; `show` and `stop` speak of them by their place in this order.
            host: what the bridge offers.

        Raises:
            LayoutError: a node's or chain's name cannot be part of a topic.
        """
        self.name = name
        self._host = host
        self._broker = host.broker
        self._term: int | None = None
        self._running = False
        self._lanes: list[_Lane] = []
        self._nodes: dict[str, _Node] = {}
        self._lane_of: dict[str, int] = {}
        for index, place in enumerate(places):
            _check_name("node", place.node)
            _check_name("chain", place.chain)
            node = self._nodes.setdefault(node_topic(place.node), _Node(place.node))
            window = Window()
            figures = Figures(host, place, window.counters)
            lane = _Lane(index, place, frame_topic(place.node, place.chain), node, window, figures)
            node.lanes.append(lane)
            self._lanes.append(lane)
            self._lane_of[shown_topic(place.node, place.chain)] = index
        # Chains whose frame may go but for the link or the term, in the order in which they came to wait.
        self._waiting: dict[int, None] = {}
        self._soonest: Instant = NEVER  # no chain is due before this
        self._promised: Instant = NEVER  # what `wake` returned last
        self._asked = False
        self._down_since: Instant | None = None  # while the link is down and no node was given up for it

    async def start(self) -> None:
        """Begin to send, and to listen to the nodes."""
        self._running = True
        self._broker.subscribe(SHOWN_FILTER, self._shown)
        self._broker.subscribe(NODE_FILTER, self._announced)
        self._broker.watch(self._link_changed)
        now = self._host.now()
        self._meet_term(now)
        self._send_all(now)

    def show(self, index: int, levels: bytes, *, test: bool = False) -> None:
        """Take the newest frame of a chain; send it now or as soon as the link and the node allow."""
        self._lanes[index].window.put(levels, LAMP_TEST if test else 0)
        if self._running:
            now = self._host.now()
            if self._host.term != self._term:
                self._meet_term(now)
            if self._waiting:
                self._send_waiting(now)
            self._send(index, now)

    def wake(self, now: Instant) -> Instant | None:
        """Do what is due and return when to be called next, or None while only the link or a term is waited for."""
        self._promised = 0  # while we are at it nothing needs another call
        self._asked = False
        if not self._running:
            self._promised = NEVER
        else:
            self._promised = self._wake(now) if self._broker.connected else self._miss_nodes(now)
        return None if self._promised == NEVER else self._promised

    async def stop(self, last: tuple[bytes, ...] | None) -> None:
        """Send each chain its last frame, whatever is still on the way, and end; with None only end.

        A congested link gets them too: there will be no later frame that could be newer.
        """
        was_running, self._running = self._running, False
        term = self._host.term
        if not was_running or term is None or last is None:
            return
        for lane, levels in zip(self._lanes, last, strict=False):  # none at all after a start that failed
            if lane.node.obeys is None:
                self._broker.publish(lane.topic, encode(LAST, term, lane.window.sequence, levels))

    # ---- sending -------------------------------------------------------------------------------------------

    def _send(self, index: int, now: Instant) -> None:
        """Send what the chain's window lets go, or have it wait for the link."""
        lane = self._lanes[index]
        window = lane.window
        flags = window.offer(now) if lane.node.obeys is None else None
        if flags is not None and window.newest is not None:
            term = self._term
            if (
                term is None
                or self._broker.congested
                or not self._broker.publish(lane.topic, encode(flags, term, window.sequence, window.newest))
            ):
                self._waiting[index] = None
                if term is not None:  # a new one wakes us anyway
                    self._ask(now)
                return
            window.sent(now, flags)
            # The keep-alive. Silence may be due earlier, and stands in `_soonest` already since an earlier frame.
            due = now + KEEP_ALIVE_AFTER
        else:
            due = self._due(lane, now)
        if self._waiting:
            self._waiting.pop(index, None)
        if due < self._soonest:  # noqa: PLR1730 - `min` would cost more than all of this line, on every frame
            self._soonest = due
        self._ask(due)

    def _send_waiting(self, now: Instant) -> None:
        """Serve those that wait, so that a chain that changes all the time does not pass them by."""
        for index in tuple(self._waiting):
            if self._term is None or self._broker.congested:
                break
            self._send(index, now)

    def _send_all(self, now: Instant) -> None:
        for index in range(len(self._lanes)):
            self._send(index, now)

    def _ask(self, due: Instant) -> None:
        if due < self._promised and not self._asked:
            self._asked = True
            self._host.wake_soon()

    def _meet_term(self, now: Instant) -> None:
        """Notice a new term: the nodes may have ignored what went out under the old one."""
        term = self._host.term
        if term == self._term:
            return
        self._term = term
        if term is not None:
            for node in self._nodes.values():
                if node.obeys is not None and node.obeys <= term:
                    node.obeys = None
            for lane in self._lanes:
                lane.window.restart()
            self._send_all(now)

    # ---- time ----------------------------------------------------------------------------------------------

    def _wake(self, now: Instant) -> Instant:
        self._meet_term(now)
        self._send_waiting(now)
        if now >= self._soonest:
            self._look_after(now)
        if self._term is None:
            return NEVER  # nothing may go out, and a new term wakes us
        if not self._waiting:
            return self._soonest
        again = now + LINK_AGAIN
        return min(again, self._soonest) if self._soonest > now else again

    def _look_after(self, now: Instant) -> None:
        self._soonest = NEVER
        soonest = NEVER
        for index, lane in enumerate(self._lanes):
            if lane.window.unanswered(now):
                seconds = SILENT_AFTER // SECOND
                self._judge(lane.node, f"chain {lane.place.chain} has acknowledged nothing for {seconds} s")
            self._send(index, now)
            soonest = min(soonest, self._due(lane, now), lane.figures.tell(now))
        self._soonest = soonest

    def _due(self, lane: _Lane, now: Instant) -> Instant:
        """Return when there is something to do for a chain: for that of another bridge's node, never."""
        return lane.window.due(now) if lane.node.obeys is None else NEVER

    # ---- the link and the nodes ----------------------------------------------------------------------------

    def _link_changed(self, state: LinkState) -> None:
        if not self._running:
            return
        for lane in self._lanes:
            lane.window.refresh()
        now = self._host.now()
        if state is LinkState.UP:
            self._down_since = None
            for node in self._nodes.values():
                if node.missed:
                    node.missed = False
                    self._greet(node, now)
            self._meet_term(now)
            self._send_all(now)
        else:
            self._down_since = now
            self._ask(now + SILENT_AFTER)

    def _miss_nodes(self, now: Instant) -> Instant:
        """Give up the nodes once the link has been down for too long; return when that is due.

        They have acknowledged nothing for as long, and by then they may show what they show in silence.
        """
        if self._down_since is None:
            return NEVER
        due = self._down_since + SILENT_AFTER
        if now < due:
            return due
        self._down_since = None
        for node in self._nodes.values():
            node.missed = any(lane.window.phase is not Phase.UNHEARD for lane in node.lanes)
            if node.missed:
                self._tell(node, LinkState.LOST, "the link to the broker is down")
        return NEVER

    def _greet(self, node: _Node, now: Instant) -> None:
        """Have a node that was missed acknowledge on each of its chains before it counts as up again."""
        for lane in node.lanes:
            if lane.window.phase not in (Phase.UNHEARD, Phase.SILENT):
                lane.window.announced(now)

    def _shown(self, raw: Raw) -> None:
        if not self._running:
            return
        index = self._lane_of.get(raw.channel)
        try:
            shown = read_shown(raw.payload)
        except DecodeError as error:
            self._refuse(raw, error, ours=index is not None)
            return
        now = self._host.now()
        self._meet_term(now)
        self._learn(shown.term, now, None if index is None else self._lanes[index].node)
        # A retained acknowledgement is a copy of one that was given earlier: it is no sign of life.
        if index is None or shown.term != self._term or raw.retained:
            return
        lane = self._lanes[index]
        if not lane.window.acknowledged(shown.sequence, now):
            return
        for other in lane.node.lanes:
            if other.window.phase is Phase.UNHEARD:
                # The node speaks, so what it was sent on its other chains is acknowledged too, or was lost.
                other.window.announced(now)
                self._send(other.index, now)
        self._judge(lane.node, "")
        self._send(index, now)

    def _announced(self, raw: Raw) -> None:
        if not self._running:
            return
        node = self._nodes.get(raw.channel)
        try:
            said = read_announcement(raw.payload)
        except DecodeError as error:
            self._refuse(raw, error, ours=node is not None)
            return
        now = self._host.now()
        self._meet_term(now)
        if said.term is not None:
            self._learn(said.term, now, node)
        if node is None:
            return
        if said.board is not None:
            self._host.board(node.name, said.board)
        for lane in node.lanes:
            if said.state == "here":
                lane.window.announced(now)
            else:
                lane.window.gone()
            self._send(lane.index, now)
        self._judge(node, "it has said, itself or by its last will, that it is gone")

    def _learn(self, term: int, now: Instant, node: _Node | None) -> None:
        """Pass on a term that somebody used, one of our nodes or a stranger's.

        While our own is not chosen every term counts; after that only our nodes'.
        """
        if self._term is None:
            self._host.term_seen(term)
            self._meet_term(now)
        elif node is not None and term > self._term:
            if self._host.term_seen(term):
                self._leave(node, term)
            else:
                self._meet_term(now)

    def _leave(self, node: _Node, term: int) -> None:
        if node.obeys is None:
            for lane in node.lanes:
                lane.window.gone()
                self._waiting.pop(lane.index, None)
        node.obeys = term
        self._judge(node, f"it obeys another bridge, under term {term}")

    def _refuse(self, raw: Raw, error: DecodeError, *, ours: bool) -> None:
        if ours:
            error.received = f"{cut(raw.channel, 120)} {error.received}".rstrip()
            self._host.refused(raw, error)

    def _judge(self, node: _Node, why_lost: str) -> None:
        """Say it if the node's health has changed."""
        showing = {lane.window.phase for lane in node.lanes if lane.window.newest is not None}
        if any(lane.window.phase is Phase.SILENT for lane in node.lanes):
            state, why = LinkState.LOST, why_lost
        elif showing == {Phase.ANSWERING}:
            state, why = LinkState.UP, "it acknowledges what it shows"
        else:
            return
        self._tell(node, state, why)

    def _tell(self, node: _Node, state: LinkState, why: str) -> None:
        if state is not node.state:
            node.state = state
            self._host.node(node.name, state, why)


def _check_name(what: str, name: str) -> None:
    if not name or not name.isprintable() or any(c in name for c in "/+#"):
        raise LayoutError(
            f"the {what} name `{cut(name)}` cannot be part of an MQTT topic: leave out `/`, `+`, `#` and whatever"
            " cannot be printed"
        )
