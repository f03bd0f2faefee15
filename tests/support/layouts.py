"""Layout files for tests: one that is sound, and what `check` says when something in it is changed."""

from __future__ import annotations

from typing import Final

from bridge.check import check_text

HERE: Final = "▸"
"""Stands in a test's text before the place that a finding has to point at; it is no part of the file."""

SOUND: Final = """\
layout: Fernhollow
scale: N
frames-per-second: 50
broker: {host: 127.0.0.1, port: 1883}
sources:
  bus: {kind: mqtt, repeat-window: 500 ms}
colours:
  lamp-oil: {red: 100%, green: 36%}
builds:
  searchlight: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  three-lamp:
    chips: [ws2811]
    lamps:
      green: {channel: 1, resistor: 82 ohm}
      yellow: {channel: 3}
      red: {channel: 2}
  two-headed:
    chips: [ws2811, {type: ws2811, order: BGR}]
    heads:
      upper: {green: {channel: 1}, red: {channel: 2}}
      lower: {green: {chip: 2, channel: 1}, red: {chip: 2, channel: 2}}
  two-colour:
    chips: [ws2811]
    lamps: {red: {channel: 1}, green: {channel: 2}, yellow: {mix: {red: 100%, green: 45%}}}
  dwarf: {chips: [ws2811], lamps: {red: {channel: 1}}}
  roof: {chips: [ws2811], lamps: {roof: {colour: white, leds: 3, supply: 12 V, channels: [{channel: 1}, {channel: 2}]}}}
  mill: {chips: [sk6812-rgbw], lamps: {attic: {full-colour: 1}}}
nodes:
  tarn:
    chains:
      - name: yard
        order: {sk6812-rgbw: GRBW}
        fixtures:
          - {name: T2, build: searchlight, order: RGB}
          - {name: T4, build: three-lamp}
          - {name: T6, build: two-headed}
          - {name: T8, build: two-colour}
      - name: village
        fixtures:
          - {name: D1, build: dwarf}
          - {name: D2, build: dwarf, shares: D1, first-channel: 2}
          - {name: roof, build: roof}
          - {name: mill, build: mill}
aspects:
  two-lights:
    stop: {upper: red, lower: red}
    clear: {upper: green, lower: dark}
signals:
  T2: {commands: {61: {normal: stop, reverse: clear}}}
  T4: {commands: {62: {normal: stop, reverse: approach}}, change: fade 400 ms}
  T6: {aspects: two-lights, commands: {63: {normal: stop, reverse: clear}}}
  shunt: {fixture: D1, aspects: {stop: red, proceed: dark}, commands: {64: {normal: stop, reverse: proceed}}}
lights:
  roof: {when: {accessory: 31}, shows: 60%, when-unknown: off}
  mill: {when: {button: bell}, lamps: [attic], shows: lamp-oil 80%, change: fade}
"""


TRACK: Final = """\
layout: Tarn Valley
builds:
  mast: {chips: [ws2812b], lamps: {eye: {full-colour: 1}}}
nodes:
  tarn:
    chains:
      - name: line
        fixtures:
          - {name: C1, build: mast}
          - {name: C2, build: mast}
          - {name: N1, build: mast}
          - {name: A1, build: mast}
          - {name: A2, build: mast}
          - {name: A3, build: mast}
          - {name: B1, build: mast}
          - {name: B2, build: mast}
          - {name: B3, build: mast}
          - {name: H1, build: mast}
          - {name: D2, build: mast}
          - {name: R1, build: mast}
districts:
  main: {settle: 3 s}
blocks:
  east-1: {district: main}
  east-2: {clear-after: 2 s, occupied-after: 80 ms}
  siding: {detector: spot}
turnouts:
  63: {feedback: true, block: east-1}
aspects:
  distant: {caution: yellow, proceed: green}
signals:
  C1: {commands: {61: {normal: stop, reverse: clear}, 62: {reverse: approach}}}
  C2:
    table:
      - {when: {64: normal, 65: any}, show: restricting}
      - {when: {64: thrown, 65: closed}, show: approach}
      - {when: {64: thrown, 65: thrown}, show: clear}
  N1: {aspect-number: {accessory: 66, aspects: {0: stop, 15: clear}}}
  A1:
    ahead:
      - {turnouts: {63: normal}, blocks: [east-1], next: A2, shows: {restricting: approach}}
      - {turnouts: {63: reverse}, blocks: [siding], beyond: restricting}
  A2: {sequence: [stop, restricting, clear], ahead: [{blocks: [east-2]}], lit-by: [east-1]}
  A3: {aspects: {danger: red, caution: yellow, off: green}, ahead: [{beyond: caution}]}
  B1: {buttons: {held: {lever: clear}, otherwise: approach}}
  B2: {buttons: {latched: {red: stop, green: clear}}}
  B3: {buttons: {stepped: {button: step, aspects: [stop, clear]}}}
  H1: {commands: {67: {normal: stop, reverse: clear}}}
  D2: {aspects: distant, follows: {signal: H1, shows: {clear: proceed}}, dark-under: A2}
  R1: {follows: H1}
"""
"""A sound layout of the track, with every way in which a signal is told what to show."""


def changed(old: str, new: str, text: str = SOUND) -> str:
    """Return a sound layout with one passage changed; the passage must stand in it once."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the layout"
    return text.replace(old, new)


def said_of(text: str) -> list[str]:
    """Return what `check` prints for a layout file called `f`.

    Two fixtures of `SOUND` are there for mistakes to use; that nobody uses them is looked at elsewhere.
    """
    findings = check_text(text.replace(HERE, "")).findings
    return [finding.line("f") for finding in findings if "it stays dark" not in finding.message]


def places(text: str) -> list[str]:
    """Return `LINE:COLUMN` of every mark in a text, in its order."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        parts = line.split(HERE)
        found += [f"{number}:{sum(map(len, parts[:index])) + 1}" for index in range(1, len(parts))]
    return found
