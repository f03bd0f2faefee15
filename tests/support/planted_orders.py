"""Planted cases of orders, buttons, sources, wiring and restarts."""

from __future__ import annotations

from typing import Final

from bridge.events import AccessoryOrdered, Authority, Position, Subject
from bridge.record.why.answer import Kind, Over
from tests.support.driving import NORMAL, REVERSE, button, copy, heard, lost, order
from tests.support.lamp_testing import ask, confirm
from tests.support.planted import (
    COMBINED,
    PRESSED,
    RELEASED,
    SOURCES,
    Nonsense,
    Planted,
    needed,
    released,
)
from tests.support.tracks import (
    CLEAR,
    block,
    number_ordered,
    use,
    written,
)

SIMPLE: Final = written(
    {
        "S": "commands: {61: {normal: stop, reverse: clear}, 62: {reverse: approach}}",
        "K": "commands: {64: {normal: stop, reverse: clear}}, at-start: restored",
        "N": "aspect-number: {accessory: 37, aspects: {0: stop, 5: approach, 15: clear}}",
        "D": "follows: S, dark-under: S",
        "L": "commands: {67: {normal: stop, reverse: clear}}, lit-by: [siding]",
        "H": "buttons: {held: {lever: clear}, otherwise: stop}",
        "P": "buttons: {stepped: {button: next, aspects: [stop, approach, clear]}}",
    },
    SOURCES + "blocks: {siding: {}}\n",
)

REFRESHED: Final = written(
    {"S": "commands: {61: {normal: stop, reverse: clear}}"},
    "sources: {panel: {kind: mqtt}, station: {kind: mqtt, refresh-every: 2 s}}\n",
)

PLANNED: Final = """\
layout: A siding is coming
builds:
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
nodes:
  tarn:
    chains:
      - name: throat
        fixtures:
          - {name: T2, build: three-lamp}
          - {name: T4, build: three-lamp, planned: true}
          - {name: T6, build: three-lamp, broken: 1}
blocks: {main: }
signals:
  T2: {ahead: [{blocks: [main], next: T4}]}
  T4: {commands: {64: {normal: stop, reverse: clear}}}
  T6: {commands: {66: {normal: stop, reverse: clear}}}
"""

RESTORED: Final = Authority.RESTORED


def kept(number: int, position: Position) -> AccessoryOrdered:
    """Return an order from before a restart."""
    return order(number, position, source="memory", authority=RESTORED)


ORDERS: Final = (
    # ---- orders -------------------------------------------------------------------------------------------
    Planted(
        name="a combination is wired wrong",
        layout=COMBINED,
        script=((1, order(61, NORMAL)), (2, order(62, REVERSE))),
        device="C",
        at=5,
        shows="stop",
        cause=(Kind.ORDERED, "61"),
        with_it=frozenset([(Kind.ORDERED, "62")]),
        row="61 normal, 62 reverse: stop",
        needs=needed("clear", "accessory 62 were ordered normal"),
    ),
    Planted(
        name="only half of a combination was ordered",
        layout=COMBINED,
        script=((1, order(61, NORMAL)),),
        device="C",
        at=5,
        shows="stop",
        cause=(Kind.NEVER, "62"),
        needs=needed("clear", "accessory 62 were ordered normal"),
    ),
    Planted(
        name="somebody ordered it so",
        layout=SIMPLE,
        script=((1, order(61, REVERSE)), (2, order(62, REVERSE, source="bus"))),
        device="S",
        at=5,
        shows="approach",
        cause=(Kind.ORDERED, "62"),
        row="62 reverse: approach",
        needs=needed("clear", "accessory 61 were ordered reverse again"),
    ),
    Planted(
        name="nothing was ordered",
        layout=SIMPLE,
        script=((1, order(67, REVERSE)),),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.NOTHING, "S"),
        needs=needed("clear", "accessory 61 were ordered reverse"),
        impossible="restricting",
    ),
    Planted(
        name="a kept copy",
        layout=SIMPLE,
        script=((1, copy(61, REVERSE)),),
        device="S",
        at=5,
        shows="stop",
        passed=(Over.COPY, "accessory 61"),
        cause=(Kind.NOTHING, "S"),
        needs=needed("clear", "accessory 61 were ordered reverse"),
    ),
    Planted(
        name="a refreshed command",
        layout=SIMPLE,
        script=(
            (1, order(61, REVERSE, source="booster")),
            (1.5, order(61, NORMAL)),
            (2, order(61, REVERSE, source="booster")),
        ),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.ORDERED, "61"),
        passed=(Over.REPEAT, "accessory 61"),
        row="61 normal: stop",
        needs=needed("clear", "accessory 61 were ordered reverse"),
    ),
    Planted(
        name="an accessory was released only",
        layout=SIMPLE,
        script=((1, released(61)),),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.NOTHING, "S"),
        passed=(Over.RELEASED, "accessory 61"),
    ),
    Planted(
        name="the order came four numbers away",
        layout=SIMPLE,
        script=((1, order(57, REVERSE)),),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.NOTHING, "S"),
        passed=(Over.NOBODY, "accessory 57"),
    ),
    Planted(
        name="a position that means nothing",
        layout=SIMPLE,
        script=((1, order(61, NORMAL)), (2, order(62, NORMAL))),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.ORDERED, "61"),
        passed=(Over.NO_MEANING, "accessory 62"),
    ),
    Planted(
        name="an aspect number without a row",
        layout=SIMPLE,
        script=((1, number_ordered(37, 5)), (2, number_ordered(37, 7))),
        device="N",
        at=5,
        shows="approach",
        cause=(Kind.NUMBER, "37"),
        passed=(Over.NO_MEANING, "extended accessory 37"),
        needs=needed("clear", "aspect 15 were ordered of accessory 37"),
    ),
    Planted(
        name="a lost source",
        layout=SIMPLE,
        script=((1, order(61, REVERSE)), (3, lost("panel"))),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.SOURCE, "panel"),
        needs=needed("clear", "accessory 61 were ordered reverse"),
    ),
    Planted(
        name="a source was lost and came back without saying anything anew",
        layout=SIMPLE,
        script=((1, order(61, REVERSE)), (3, lost("panel")), (4, heard("panel"))),
        device="S",
        at=8,
        shows="stop",
        cause=(Kind.SOURCE, "panel"),
    ),
    Planted(
        name="a source is out of use",
        layout=SIMPLE,
        script=(
            (1, order(61, REVERSE, source="booster")),
            (2, use(Subject.SOURCE, "booster", why="it makes things up")),
            (4, order(61, REVERSE, source="booster")),
        ),
        device="S",
        at=8,
        shows="stop",
        cause=(Kind.SOURCE, "booster"),
        passed=(Over.OUT, "accessory 61"),
    ),
    Planted(
        name="out of use by its owner",
        layout=SIMPLE,
        script=((1, order(61, REVERSE)), (2, use(Subject.SIGNAL, "S", why="broken lens"))),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.USE, "S"),
        needs=needed("clear", "signal S were put back into use"),
    ),
    Planted(
        name="what was kept over a restart was too old",
        layout=SIMPLE,
        script=((1, order(67, REVERSE)),),
        device="K",
        at=5,
        shows="stop",
        cause=(Kind.NOTHING, "K"),
        needs=needed("clear", "accessory 64 were ordered reverse"),
    ),
    Planted(
        name="a restart, over which it takes up no orders",
        layout=SIMPLE,
        script=((0, kept(61, REVERSE)), (0, kept(64, REVERSE))),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.NOTHING, "S"),
        passed=(Over.RESTORED, "accessory 61"),
    ),
    Planted(
        name="a restart, over which it takes up its order",
        layout=SIMPLE,
        script=((0, kept(61, REVERSE)), (0, kept(64, REVERSE))),
        device="K",
        at=5,
        shows="clear",
        cause=(Kind.ORDERED, "64"),
    ),
    Planted(
        name="dark under its main signal",
        layout=SIMPLE,
        script=((1, order(61, REVERSE)), (2, order(61, NORMAL))),
        device="D",
        at=5,
        shows="dark",
        cause=(Kind.ORDERED, "61"),
        needs=needed("clear", "accessory 61 were ordered reverse"),
    ),
    Planted(
        name="dark while no train is near",
        layout=SIMPLE,
        script=((1, order(67, REVERSE)), (2, block("siding", CLEAR))),
        device="L",
        at=9,
        shows="dark",
        cause=(Kind.CLEAR, "siding"),
        needs=needed("clear", "block siding were reported occupied"),
    ),
    Planted(
        name="nobody holds the lever",
        layout=SIMPLE,
        script=((1, button("lever", PRESSED)), (2, button("lever", RELEASED))),
        device="H",
        at=5,
        shows="stop",
        cause=(Kind.PRESSED, "lever"),
        needs=needed("clear", "button lever were pressed"),
    ),
    Planted(
        name="a press while the contact bounces",
        layout=SIMPLE,
        script=(
            (1, button("next", PRESSED)),
            (1.5, button("next", RELEASED)),
            (1.51, button("next", PRESSED)),
            (1.52, button("next", RELEASED)),
        ),
        device="P",
        at=5,
        shows="stop",
        cause=(Kind.PRESSED, "next"),
        passed=(Over.BOUNCE, "button next"),
    ),
    Planted(
        name="an order that nobody could read",
        layout=SIMPLE,
        script=(
            (1, Nonsense("layout/accessory/61/ordered", b"revers", "'revers' is no position")),
            (2, Nonsense("layout/accessory/99/ordered", b"open", "'open' is no position")),
            (80, order(67, REVERSE)),
        ),
        device="S",
        at=90,
        shows="stop",
        cause=(Kind.NOTHING, "S"),
        passed=(Over.REFUSED, "panel"),
    ),
    Planted(
        name="a refresh from before the start",
        layout=REFRESHED,
        script=((1, order(61, REVERSE, source="station")), (2, order(61, REVERSE, source="station"))),
        device="S",
        at=5,
        shows="stop",
        cause=(Kind.NOTHING, "S"),
        passed=(Over.COPY, "accessory 61"),
    ),
    Planted(
        name="a refresh after somebody else's order",
        layout=REFRESHED,
        script=(
            (30, order(61, REVERSE, source="station")),
            (31, order(61, NORMAL)),
            (32, order(61, REVERSE, source="station")),
        ),
        device="S",
        at=35,
        shows="stop",
        cause=(Kind.ORDERED, "61"),
        passed=(Over.REFRESH, "accessory 61"),
    ),
    Planted(
        name="not soldered yet",
        layout=PLANNED,
        script=((1, order(64, REVERSE)),),
        device="T4",
        at=5,
        shows="stop",
        cause=(Kind.WIRING, "T4"),
    ),
    Planted(
        name="a signal ahead that is not soldered yet",
        layout=PLANNED,
        script=((1, order(64, REVERSE)), (1, block("main", CLEAR))),
        device="T2",
        at=9,
        shows="approach",
        cause=(Kind.WIRING, "T4"),
    ),
    Planted(
        name="a chip that is broken",
        layout=PLANNED,
        script=((1, order(66, REVERSE)),),
        device="T6",
        at=5,
        shows="stop",
        cause=(Kind.WIRING, "T6"),
    ),
    Planted(
        name="a lamp test",
        layout=SIMPLE,
        script=((1, order(61, REVERSE)), (2, ask("together", "bench/one")), (3, confirm("bench/one"))),
        device="S",
        at=4,
        shows="clear",
        cause=(Kind.TESTED, "lamp-test"),
        with_it=frozenset([(Kind.ORDERED, "61")]),
    ),
)
