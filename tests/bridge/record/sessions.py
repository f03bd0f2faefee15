"""Sessions for the tests of the log: an invented layout, and whoever drives it, as the service would."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from hypothesis import strategies as st

from adapters.contract import Raw
from bridge.chain.timing import frame_instant
from bridge.commands import Cause, Command, PublishFrame
from bridge.engine import Engine
from bridge.events import (
    MILLISECOND,
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    Authority,
    BlockReported,
    BlockState,
    ButtonReported,
    ButtonState,
    Event,
    Instant,
    LinkState,
    NodeReported,
    Position,
    SourceReported,
    event_from_data,
    event_to_data,
)
from bridge.record.writer import SessionLog, make_header
from tests.support.driving import layout as layout_of

# A fade, a cut, an inverted channel, repeats, a light that is held and one that is switched, on three chains.
LAYOUT: Final = """\
layout: Mossbank & Ferry Hill
frames-per-second: 50
sources:
  bus: {kind: mqtt, repeat-window: 400 ms}
  panel: {kind: mqtt}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp:
    chips: [ws2811]
    lamps:
      green: {channel: 1}
      red: {channel: 2, inverted: true, supply: 12 V, leds: 2}
      yellow: {channel: 3}
  house: {chips: [sk6812-rgbw], lamps: {room: {full-colour: 1}}}
nodes:
  ferry:
    chains:
      - name: bank
        fixtures:
          - {name: M1, build: three-lamp}
          - {name: M2, build: searchlight}
      - name: shed
        fixtures:
          - {name: Boat shed, build: house}
  hill:
    chains:
      - name: top
        fixtures:
          - {name: H1, build: three-lamp}
          - {name: Lookout, build: house}
signals:
  M1:
    commands:
      61: {normal: stop, reverse: clear}
      62: {reverse: approach}
    change: fade 300 ms
  M2: {commands: {63: {normal: stop, reverse: restricting}}}
  H1: {commands: {64: {normal: stop, reverse: clear}}}
lights:
  Boat shed: {when: {accessory: 70}, shows: warm-white 60%, change: fade 1 s, when-unknown: off}
  Lookout: {when: {button: horn}, change: fade 150 ms}
"""

STARTED: Final = "2026-11-25T10:20:00+00:00"


class Session:
    """Drives an engine through a session and logs it, as the service does."""

    def __init__(self, path: Path, text: str = LAYOUT, **bounds: Any) -> None:
        self.layout = layout_of(text)
        self.engine = Engine(self.layout)
        header = make_header(self.layout, text, file="ferry.yaml", started=STARTED)
        self.log = SessionLog(path, header, self.layout, **bounds)
        self.commands: list[Command] = []
        self.instants: list[Instant] = []
        self.log.commands(self._made(self.engine.start()))

    def _made(self, commands: Sequence[Command]) -> Sequence[Command]:
        self.commands += commands
        return commands

    def message(self, at: Instant, *events: Event, raw: Raw | None = None) -> None:
        """Handle what one message said."""
        first = self.engine.events + 1
        stamped = tuple(event_from_data(event_to_data(event) | {"at": at}) for event in events)
        commands = [command for event in stamped for command in self.engine.handle(event)]
        self.log.input(first, at, stamped[0].source if stamped else "bus", raw, stamped)
        self.log.commands(self._made(commands))

    def wake(self, at: Instant) -> None:
        """Render one instant."""
        self.instants.append(at)
        self.log.rendered(at, self._made(self.engine.advance(at)))

    def stand(self) -> None:
        """Put a snapshot into the log."""
        self.log.snapshot(self.engine.now, self.engine.snapshot())

    def run_until(self, at: Instant, rendered: Callable[[Instant], bool] = lambda _at: True) -> None:
        """Render those instants of the frame grid before `at` that are due and that `rendered` lets through."""
        wake = self.engine.next_wake()
        while wake is not None and wake < at:
            if rendered(wake):
                self.wake(wake)
                wake = self.engine.next_wake()
            else:
                wake = frame_instant(wake + 1, self.layout.frames_per_second)

    def end(self, at: Instant) -> None:
        """End cleanly."""
        self.log.commands(self._made(self.engine.closing(at)))
        self.log.end(at)
        assert self.log.close() is None

    @property
    def frames(self) -> list[PublishFrame]:
        """All frames that were made."""
        return [command for command in self.commands if isinstance(command, PublishFrame)]

    @property
    def moving(self) -> list[PublishFrame]:
        """The frames that nothing but time caused."""
        return [frame for frame in self.frames if frame.cause is Cause.MOTION]


def ordered(number: int, position: str = "reverse", source: str = "bus", authority: str = "command") -> Event:
    """Return an order; its instant is set when the message comes."""
    where = Position(position)
    return AccessoryOrdered(
        at=0, source=source, number=number, position=where, authority=Authority(authority)
    )


def short_session(path: Path) -> Session:
    """Record a session with something of everything in it: about two seconds, two inputs refused."""
    session = Session(path)
    session.message(SECOND, ordered(61), raw=Raw("layout/accessory/61/ordered", b"reverse"))
    session.run_until(1100 * MILLISECOND)
    session.log.flush()
    session.message(1100 * MILLISECOND, ordered(61), raw=Raw("layout/accessory/61/ordered", b"reverse"))
    session.log.refused(
        1110 * MILLISECOND, "bus", Raw("layout/accessory/61/ordered", b"\xff\x00"), "not a text"
    )
    session.message(1120 * MILLISECOND, ordered(70), ordered(63), raw=Raw("pair", b"\xff\xfe", retained=True))
    session.stand()
    session.run_until(1900 * MILLISECOND, lambda at: at % 3 != 0)
    session.log.refused(1900 * MILLISECOND, "panel", Raw("kästchen", "größe".encode() * 3), "far too long")
    session.message(1930 * MILLISECOND, SourceReported(at=0, source="bus", state=LinkState.LOST))
    session.run_until(2500 * MILLISECOND)
    session.end(2600 * MILLISECOND)
    return session


# Random sessions.

sources: Final = st.sampled_from(["bus", "panel"])
authorities: Final = st.sampled_from([Authority.COMMAND, Authority.STATE])
numbers: Final = st.sampled_from([61, 62, 63, 64, 70, 5])
two_positions: Final = st.sampled_from([Position.NORMAL, Position.REVERSE])

events: Final[st.SearchStrategy[Event]] = st.one_of(
    st.builds(
        AccessoryOrdered,
        at=st.just(0),
        source=sources,
        number=numbers,
        position=two_positions,
        authority=authorities,
    ),
    st.builds(
        ButtonReported,
        at=st.just(0),
        source=sources,
        name=st.sampled_from(["horn", "spare"]),
        state=st.sampled_from(ButtonState),
        authority=authorities,
    ),
    st.builds(SourceReported, at=st.just(0), source=sources, state=st.sampled_from(LinkState)),
    st.builds(AccessoryReleased, at=st.just(0), source=sources, number=numbers),
    st.builds(
        AccessoryProved, at=st.just(0), source=sources, number=numbers, position=st.sampled_from(Position)
    ),
    st.builds(
        BlockReported, at=st.just(0), source=sources, name=st.just("B1"), state=st.sampled_from(BlockState)
    ),
    st.builds(
        NodeReported,
        at=st.just(0),
        source=st.just("hill"),
        node=st.just("hill"),
        state=st.sampled_from(LinkState),
    ),
)


@dataclass(frozen=True, slots=True)
class Step:
    """One input of a random session.

    Attributes:
        gap: nanoseconds since the one before.
        events: what it said.
        raw: how it came.
        rendered: whether a due instant is rendered, over and over; an unrendered one was slept through.
        flush: whether the log is flushed after it.
    """

    gap: int
    events: tuple[Event, ...]
    raw: Raw | None
    rendered: tuple[bool, ...] = field(default=(True,))
    flush: bool = False


raws: Final = st.builds(
    Raw, channel=st.text(max_size=20), payload=st.binary(max_size=40), retained=st.booleans()
)
gaps: Final = st.one_of(
    st.integers(0, 2 * SECOND),
    st.integers(0, 100).map(lambda frames: frames * 20 * MILLISECOND),  # upon the frame grid
)
steps: Final = st.builds(
    Step,
    gap=gaps,
    events=st.lists(events, max_size=3).map(tuple),
    raw=st.none() | raws,
    rendered=st.lists(st.booleans(), min_size=1, max_size=7).map(tuple),
    flush=st.booleans(),
)
scripts: Final = st.lists(steps, max_size=12)


def play(script: Sequence[Step], session: Session) -> None:
    """Play a random session to its clean end."""
    at = 0
    for step in script:
        at += step.gap
        pattern = iter(step.rendered * 1000)
        session.run_until(at, lambda _at, pattern=pattern: next(pattern))  # type: ignore[misc]  # a default binds it
        session.message(at, *step.events, raw=step.raw)
        if step.flush:
            assert session.log.flush() is None
    at += SECOND
    session.run_until(at)
    session.end(at)
