"""The event source through a real broker."""

from __future__ import annotations

import asyncio

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from adapters.contract import Broker, Raw
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing.hosts import MemoryDoor, VirtualTime
from bridge.events import AccessoryOrdered, Authority, LinkState, Position
from tests.support.links import linked
from tests.support.mosquitto import StartMosquitto
from tests.support.waiting import PATIENCE, until

ORDER = "layout/accessory/61/ordered"


class Host(VirtualTime):
    """What the source told."""

    def __init__(self, broker: Broker) -> None:
        super().__init__()
        self.door = MemoryDoor()
        self.broker = broker
        self.raws: list[Raw] = []
        self.states: list[LinkState] = []

    def received(self, raw: Raw) -> None:
        self.raws.append(raw)

    def link(self, state: LinkState, why: str) -> None:
        assert why
        self.states.append(state)


async def test_a_kept_copy_is_state_and_a_live_message_a_command(mosquitto: StartMosquitto) -> None:
    """The same words on the same topic, by the broker's own mark."""
    port = mosquitto().port
    async with linked(port, "throttle", ORDER) as throttle, linked(port, "bridge") as watched:
        throttle.link.publish(ORDER, b"normal", retain=True)
        await until(lambda: bool(throttle.heard))
        host = Host(watched.link)
        source = MqttFacts("bus", MqttFactsOptions(), host)
        listens = asyncio.create_task(source.listen())
        await until(lambda: 1 == len(host.raws))
        throttle.link.publish(ORDER, b"reverse\n", retain=True)
        await until(lambda: 2 == len(host.raws))

        kept, live = (event for raw in host.raws for event in source.decode(raw, 7))
        expected = AccessoryOrdered(
            at=7, source="bus", number=61, position=Position.NORMAL, authority=Authority.STATE
        )
        assert expected == kept
        assert AccessoryOrdered(at=7, source="bus", number=61, position=Position.REVERSE) == live
        listens.cancel()


def keep(port: int, topics: list[str]) -> None:
    """Have the broker keep `3` on each topic at QoS 1; it has confirmed each when this returns."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for sent in [client.publish(topic, b"3", qos=1, retain=True) for topic in topics]:
        sent.wait_for_publish(PATIENCE)
        assert sent.is_published()
    client.disconnect()
    client.loop_stop()


async def test_thousands_of_kept_copies_all_arrive(mosquitto: StartMosquitto) -> None:
    """A large layout's state is known after a start; at QoS 1 the broker drops what its queue cannot hold."""
    port = mosquitto().port
    topics = [f"layout/aspect/{number}" for number in range(1, 2049)]
    await asyncio.to_thread(keep, port, topics)
    async with linked(port, "bridge") as watched:
        host = Host(watched.link)
        listens = asyncio.create_task(MqttFacts("bus", MqttFactsOptions(), host).listen())
        await until(lambda: set(topics) == {raw.channel for raw in host.raws if raw.retained})
        listens.cancel()


async def test_the_source_is_lost_and_found_with_its_broker(mosquitto: StartMosquitto) -> None:
    """And what comes after the return is heard."""
    broker = mosquitto()
    async with linked(broker.port, "bridge") as watched, linked(broker.port, "throttle") as throttle:
        host = Host(watched.link)
        listens = asyncio.create_task(MqttFacts("bus", MqttFactsOptions(), host).listen())
        broker.stop()
        await until(lambda: [LinkState.UP, LinkState.LOST] == host.states)
        broker.start()
        await until(lambda: [LinkState.UP, LinkState.LOST, LinkState.UP] == host.states)
        await throttle.until_up(2)
        throttle.link.publish(ORDER, b"normal")
        await until(lambda: [Raw(ORDER, b"normal")] == host.raws)
        listens.cancel()
