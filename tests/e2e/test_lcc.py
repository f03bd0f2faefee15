"""LCC end to end: a gateway over TCP, a real broker, the daemon between them, and the bytes of the frames."""

from __future__ import annotations

import asyncio
from pathlib import Path

from bridge.record.replay import replay
from tests.support.daemon import hearing, running
from tests.support.lcc_gateway import Gateway
from tests.support.log_lines import log_lines
from tests.support.mosquitto import StartMosquitto
from tests.support.waiting import until

# K1 goes by its last command, C1 by where 37 was ordered, N1 by an aspect number; the inn is lit by the model clock.
LAYOUT = """\
layout: Fernhollow & Tarn
builds:
  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}
  house: {chips: [ws2811], lamps: {white: {channel: 1}}}
nodes:
  yard:
    chains:
      - name: throat
        fixtures:
          - {name: K1, build: three-lamp}
          - {name: C1, build: three-lamp}
          - {name: N1, build: three-lamp}
          - {name: inn, build: house}
signals:
  K1: {commands: {61: {normal: stop, reverse: clear}}}
  C1: {table: [{when: {37: normal}, show: stop}, {when: {37: reverse}, show: clear}]}
  N1: {aspect-number: {accessory: 40, aspects: {0: stop, 4: approach, 15: clear}}}
lights:
  inn: {when: {clock: 18:00 to 23:30}, shows: white}
sources:
  bus:
    kind: lcc
    host: 127.0.0.1
    port: %d
    node-id: 01.02.03.04.05.06
    report: {K1: {stop: 01.02.03.04.05.06.00.10, clear: 01.02.03.04.05.06.00.11}}
"""

RED, GREEN, YELLOW, WHITE, DARK = "00ff00", "ff0000", "0000ff", "ff0000", "000000"


def order(event: str, mti: str = "5B4") -> str:
    """Return the frame that sends an event, or says how it stands."""
    return f":X19{mti}123N{event};"


REVERSE_61 = "0101020000FF0080"  # 61 + 3 = 64, shifted by one; the last bit is 0 for reverse (S-9.7.0.4, 5.3)
REVERSE_37 = "0101020000FF0050"
APPROACH_40 = "0101020001002B04"  # 40 + 3 = 43 = 2B, and the third byte of the packet
STATE = [
    ":X10701123N050101019A3C;",
    *(order(event, "544") for event in (REVERSE_61, REVERSE_37)),
    order(APPROACH_40, "4C4"),
    *(order(f"010100000100{code}", "544") for code in ("F002", "4010", "1200")),
]


async def test_events_light_lamps_and_a_lost_gateway_stops_trains(
    mosquitto: StartMosquitto, tmp_path: Path
) -> None:
    """An order becomes its bytes; a gateway that goes puts signals to stop; what comes back is state.

    A signal that goes by its last command waits for the next one, because what a bus says of how an event stands is
    none. The log says who sent each order, and replays byte for byte.
    """
    broker = mosquitto()
    async with Gateway() as gateway:
        with (
            hearing(broker.port, "lamproom/frame/yard/throat") as heard,
            running(tmp_path, LAYOUT % gateway.port, broker.port) as daemon,
        ):

            async def shown(*lamps: str) -> None:
                await asyncio.to_thread(heard.levels, "yard/throat", bytes.fromhex("".join(lamps)))

            await shown(RED, RED, RED, DARK)
            await until(lambda: bool(gateway.clients) and ":X19970aaaN;" in gateway.client.told())
            gateway.client.say(":X10701123N050101019A3C;", order(REVERSE_61))
            await shown(GREEN, RED, RED, DARK)
            await until(lambda: ":X195B4aaaN0102030405060011;" in gateway.client.told())
            gateway.client.say(order(REVERSE_37), order(APPROACH_40), "rubbish;rubbish;")
            await shown(GREEN, GREEN, YELLOW, DARK)
            gateway.client.say(*(order(f"010100000100{code}") for code in ("F002", "4010", "1200")))
            await shown(GREEN, GREEN, YELLOW, WHITE)

            await gateway.shut()
            await shown(RED, RED, RED, WHITE)
            await asyncio.to_thread(daemon.wait_for, "events from bus do not come in")
            gateway.when = {":X19970": STATE}
            await gateway.open()
            await shown(RED, GREEN, YELLOW, WHITE)

            gateway.client.say(order(REVERSE_61))
            await shown(GREEN, GREEN, YELLOW, WHITE)
            assert 1 == daemon.output.count("this is no frame of LCC")
            log = daemon.log()
        assert replay(log).same
    lines = log_lines(log)
    sent = [line["channel"] for line in lines if REVERSE_61 in line.get("raw", "") and "in" in line]
    assert ["05.01.01.01.9A.3C"] * 3 == sent
