"""Invented layouts to prove: a junction of two tracks that is sound, and three small ones with a fault in each."""

from __future__ import annotations

from typing import Final

# ── w1 ── p1 (11, 13) ── e1          11 and 12 are a crossover between the tracks; 13 and 14 lead to the branches.
#            ╲     └───── b1
# ── w2 ── p2 (12, 14) ── e2
#                  └───── b2
DOUBLE_JUNCTION: Final = """
layout: Larkmoor Junction
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
nodes:
  junction:
    chains:
      - name: one
        fixtures:
          - {name: W1, build: mast}
          - {name: W2, build: mast}
          - {name: E1, build: mast}
          - {name: E2, build: mast}
          - {name: B1, build: mast}
          - {name: B2, build: mast}
blocks: {w1: , w2: , p1: , p2: , e1: , e2: , b1: , b2: }
turnouts:
  11: {feedback: true, block: p1, fouls: {reverse: [p2]}}
  12: {feedback: true, block: p2, fouls: {reverse: [p1]}}
  13: {feedback: true, block: p1}
  14: {feedback: true, block: p2}
signals:
  W1:
    commands: {71: {normal: stop, reverse: clear}}
    locking: {approach: [w1], stopping: 20 s}
    routes:
      to-e1: {turnouts: {11: normal, 13: normal}, flank: {12: normal}, sections: [p1, e1]}
      to-b1: {turnouts: {11: normal, 13: reverse}, flank: {12: normal}, sections: [p1, b1], at-most: approach}
      to-e2: {turnouts: {11: reverse, 12: reverse, 14: normal}, sections: [p1, p2, e2], at-most: approach}
  W2:
    commands: {72: {normal: stop, reverse: clear}}
    locking: {approach: [w2]}
    routes:
      to-e2: {turnouts: {12: normal, 14: normal}, flank: {11: normal}, sections: [p2, e2]}
      to-b2: {turnouts: {12: normal, 14: reverse}, flank: {11: normal}, sections: [p2, b2], at-most: approach}
  E1:
    commands: {73: {normal: stop, reverse: clear}}
    locking: {approach: [e1], refused: drop}
    routes:
      to-w1: {turnouts: {13: normal, 11: normal}, flank: {12: normal}, sections: [p1, w1]}
  E2:
    commands: {74: {normal: stop, reverse: clear}}
    locking: {approach: [e2]}
    routes:
      to-w2: {turnouts: {14: normal, 12: normal}, flank: {11: normal}, sections: [p2, w2]}
      to-w1: {turnouts: {14: normal, 12: reverse, 11: reverse}, sections: [p2, p1, w1], at-most: approach}
  B1:
    commands: {75: {normal: stop, reverse: clear}}
    locking: {approach: [b1]}
    routes:
      to-w1: {turnouts: {13: reverse, 11: normal}, flank: {12: normal}, sections: [p1, w1]}
  B2:
    commands: {76: {normal: stop, reverse: clear}}
    locking: {reclear: true}
    routes:
      to-w2: {turnouts: {14: reverse, 12: normal}, flank: {11: normal}, sections: [p2, w2]}
"""


def small(tail: str, *masts: str) -> str:
    """Return a layout with these masts and what is said of its track and signals."""
    fixtures = ", ".join(f"{{name: {mast}, build: mast}}" for mast in masts)
    head = f"""
layout: Sedge Crossing
builds:
  mast: {{chips: [ws2812b], lamps: {{eye: {{full-colour: 1}}}}}}
nodes:
  one: {{chains: [{{name: one, fixtures: [{fixtures}]}}]}}
"""
    return head + tail


# Two tracks cross on the level, each with a block of its own: nothing is shared, so only `conflicts` keeps them apart.
CROSSING: Final = small(
    """
blocks:
  south: {clear-after: 3 s}
  diamond-ns: {fouls: [diamond-ew]}
  north:
  west:
  diamond-ew:
  east:
signals:
  S:
    commands: {71: {normal: stop, reverse: clear}}
    locking: {approach: [south]}
    routes:
      over: {sections: [diamond-ns, north], clear: [diamond-ew], conflicts: [W]}
  W:
    commands: {72: {normal: stop, reverse: clear}}
    locking: {approach: [west]}
    routes:
      over: {sections: [diamond-ew, east], clear: [diamond-ns]}
""",
    "S",
    "W",
)
NO_CONFLICT: Final = CROSSING.replace(", conflicts: [W]", "")
NO_CLEAR: Final = CROSSING.replace(", clear: [diamond-ew]", "")

# A siding joins the main track beyond the signal; its turnout, standing reverse, leads into the side of the main.
SIDING: Final = small(
    """
districts:
  all: {settle: 2 s}
blocks:
  before: {district: all}
  main: {district: all}
  siding: {district: all}
turnouts:
  21: {block: siding, fouls: {thrown: [main]}}
signals:
  M:
    buttons: {latched: {off: stop, go: clear}}
    locking: {approach: [before]}
    routes:
      along: {flank: {21: normal}, sections: [main]}
""",
    "M",
)
NO_FLANK: Final = SIDING.replace("flank: {21: normal}, ", "")

# A train that saw the signal clear needs 25 s until it has stopped or passed.
STRAIGHT: Final = small(
    """
blocks: {before: , ahead: }
signals:
  T:
    aspect-number: {accessory: 5, aspects: {0: stop, 1: clear}}
    locking: {approach: [before], time: 30 s, stopping: 25 s}
    routes:
      along: {sections: [ahead]}
""",
    "T",
)
TOO_SHORT: Final = STRAIGHT.replace("time: 30 s", "time: 10 s")
