"""Each way in which a source can be lost and come back, with its real other end."""

from __future__ import annotations

import asyncio
import getpass
import socket
import urllib.request
from pathlib import Path
from typing import ClassVar, Final

from tests.support.daemon import publish
from tests.support.far_ends import SerialLine
from tests.support.lcc_gateway import Gateway
from tests.support.losing import GREEN, RED, Losing
from tests.support.ports import free_port
from tests.support.raw_mqtt import RawClient
from tests.support.waiting import PATIENCE, until


class BrokerKilled(Losing):
    """Mosquitto is killed; started again, it has its retained copies."""

    why = "the link to the broker is down"
    first = (RED, GREEN)  # by the copy of what 62 was ordered
    proves = False

    @staticmethod
    def settings(folder: Path) -> tuple[str, ...]:
        """Return how it keeps each copy on the disk as soon as it has it."""
        keeping = ("persistence true", "autosave_on_changes true", "autosave_interval 1")
        return (*keeping, f"persistence_location {folder}/", f"user {getpass.getuser()}")

    async def open(self) -> None:
        """Have copies of both orders kept."""
        self.source = "{kind: mqtt}"
        for number in (61, 62):
            publish(self.broker.port, f"layout/accessory/{number}/ordered", "reverse", "-r")

    async def order(self, number: int) -> None:
        """Publish it."""
        publish(self.broker.port, f"layout/accessory/{number}/ordered", "reverse")

    async def lose(self) -> None:
        """Kill it."""
        self.broker.kill()

    async def back(self) -> None:
        """Start it again."""
        self.broker.start()


class LastWill(Losing):
    """A device of mapped topics vanishes, and the broker publishes its last will."""

    why = "it says that it is gone, or its last will does"

    async def open(self) -> None:
        """Connect the device, with its last will."""
        self.source = (
            "{kind: topics, alive: {topic: yard/status, here: online, gone: offline}, messages: ["
            "{topic: 'yard/{number}/set', tells: ordered}, {topic: 'yard/{number}/is', tells: proved}]}"
        )
        self._connect()

    def _connect(self) -> None:
        self._device = RawClient(self.broker.port, "yard", will=("yard/status", b"offline"))
        self._device.publish("yard/status", "online", retain=True)

    async def order(self, number: int) -> None:
        """Say it."""
        self._device.publish(f"yard/{number}/set", "reverse")

    async def prove(self) -> None:
        """Say it."""
        self._device.publish("yard/62/is", "reverse", retain=True)

    async def lose(self) -> None:
        """Vanish without a goodbye."""
        self._device.vanish()

    async def back(self) -> None:
        """Connect, and say how things stand, as a detector does."""
        self._connect()
        await self.prove()

    async def close(self) -> None:
        """Disconnect."""
        self._device.socket.close()


class HeartStops(LastWill):
    """A device of mapped topics hangs: its connection stands, and its heart stops."""

    limit = 1.0
    why = "its heartbeat has stopped: none came for 1 s"

    async def open(self) -> None:
        """Connect, and beat five times a second."""
        await super().open()
        self.source = self.source.replace("gone: offline", "gone: offline, heartbeat: 1 s")
        self._beating = asyncio.create_task(self._beat())

    async def _beat(self) -> None:
        while True:
            self._device.publish("yard/status", "online")
            await asyncio.sleep(0.2)

    async def lose(self) -> None:
        """Hang."""
        self._beating.cancel()

    async def back(self) -> None:
        """Beat again, and say how things stand."""
        self._beating = asyncio.create_task(self._beat())
        await asyncio.sleep(0)
        await self.prove()

    async def close(self) -> None:
        """Disconnect."""
        self._beating.cancel()
        await super().close()


class Quiet(Losing):
    """A source of facts over MQTT says nothing for longer than its `lost-after`."""

    limit = 1.0
    why = r"nothing came from it for 1 s \(its `lost-after`\)"

    async def open(self) -> None:
        """Say something five times a second."""
        self.source = "{kind: mqtt, lost-after: 1 s}"
        self._talking = asyncio.create_task(self._talk())

    async def _talk(self) -> None:
        with RawClient(self.broker.port, "talker") as client:
            while True:
                client.publish("layout/block/far", "clear")
                await asyncio.sleep(0.2)

    async def order(self, number: int) -> None:
        """Publish it."""
        publish(self.broker.port, f"layout/accessory/{number}/ordered", "reverse")

    async def prove(self) -> None:
        """Publish it."""
        publish(self.broker.port, "layout/accessory/62/proved", "reverse")

    async def lose(self) -> None:
        """Fall silent."""
        self._talking.cancel()

    async def back(self) -> None:
        """Talk again, and say where 62 stands."""
        self._talking = asyncio.create_task(self._talk())
        await self.prove()

    async def close(self) -> None:
        """Fall silent."""
        self._talking.cancel()
        await asyncio.gather(self._talking, return_exceptions=True)


# NMRA S-9.2.1: accessory 61 is decoder 16, pair 0; 62 is pair 1. First output of a pair, switched on: reverse.
PACKETS: Final = {61: b"90 F8 68\r\n", 62: b"90 FA 6A\r\n"}


class Station(Losing):
    """A station prints its packets over TCP, refreshes all of them each 0.2 s, and ends its connection."""

    why = r"has ended: is the device still plugged in and on\?"
    proves = False

    async def open(self) -> None:
        """Serve whoever connects."""
        self._orders: list[int] = []
        self._guests: set[asyncio.StreamWriter] = set()
        self._port = free_port()
        self.source = f"{{kind: dcc, host: 127.0.0.1, port: {self._port}, refresh-every: 200 ms}}"
        await self._serve()
        self._refreshing = asyncio.create_task(self._refresh())

    async def _serve(self) -> None:
        async def welcome(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            self._guests.add(writer)

        self._server = await asyncio.start_server(welcome, "127.0.0.1", self._port)

    async def _refresh(self) -> None:
        while True:
            for number in self._orders:
                self.print(PACKETS[number])
            await asyncio.sleep(0.2)

    def print(self, packet: bytes) -> None:
        """Print a packet to all who are connected."""
        for guest in self._guests:
            guest.write(packet)

    async def order(self, number: int) -> None:
        """Order something, as the one who drives it does: it was the other way before."""
        self.print(REVERSED[number])
        if number not in self._orders:
            self._orders.append(number)
        self.print(PACKETS[number])

    async def lose(self) -> None:
        """End all connections, and take none."""
        self._server.close()
        for guest in self._guests:
            guest.close()
        self._guests.clear()

    async def back(self) -> None:
        """Be there again, and go on refreshing."""
        await self._serve()

    async def close(self) -> None:
        """End."""
        self._refreshing.cancel()
        await self.lose()


REVERSED: Final = {61: b"90 F9 69\r\n", 62: b"90 FB 6B\r\n"}
"""The other output of the same pair: normal."""


class Unplugged(Losing):
    """A serial line is unplugged under a station that refreshes all of its orders each 0.2 s."""

    why = "sniffer (has ended|broke off)"
    proves = False

    async def open(self) -> None:
        """Plug it in."""
        self._orders: list[int] = []
        self._line = SerialLine(self.folder / "sniffer")
        self._line.plug_in()
        self.source = f"{{kind: dcc, serial: {self._line.name}, refresh-every: 200 ms}}"
        self._refreshing = asyncio.create_task(self._refresh())

    async def _refresh(self) -> None:
        while True:
            for number in self._orders:
                if self._line.device >= 0:
                    self._line.print(PACKETS[number])
            await asyncio.sleep(0.2)

    async def order(self, number: int) -> None:
        """Order something: it was the other way before."""
        self._line.print(REVERSED[number])
        if number not in self._orders:
            self._orders.append(number)
        self._line.print(PACKETS[number])

    async def lose(self) -> None:
        """Unplug it."""
        self._line.unplug()

    async def back(self) -> None:
        """Plug it in again."""
        self._line.plug_in()

    async def close(self) -> None:
        """Unplug it."""
        self._refreshing.cancel()
        self._line.unplug()


class PipeGone(Losing):
    """A named pipe is removed."""

    limit = 2.0
    why = "was taken away or replaced"

    async def open(self) -> None:
        """Have a place for it."""
        self._path = self.folder / "facts"
        self.source = f"{{kind: line, pipe: {self._path}}}"

    async def _write(self, text: str) -> None:
        await asyncio.to_thread(self._path.write_text, text)

    async def order(self, number: int) -> None:
        """Write it."""
        await self._write(f"accessory/{number}/ordered reverse\n")

    async def lose(self) -> None:
        """Remove it."""
        self._path.unlink()

    async def back(self) -> None:
        """Wait until it has been made anew, and write into it."""
        await until(self._path.exists, lambda: "no pipe was made")
        await self.prove()

    async def prove(self) -> None:
        """Write it."""
        await self._write("accessory/62/proved reverse\n")


class SpeakerGone(Losing):
    """A program that says lines over TCP ends; that alone is no loss, but its owner's limit of quiet is."""

    limit = 1.0
    why = r"nothing came from it for 1 s \(its `lost-after`\)"

    async def open(self) -> None:
        """Have a port for it."""
        self._port = free_port()
        self._talk: socket.socket | None = None
        self.source = f"{{kind: line, port: {self._port}, lost-after: 1 s}}"
        self._talking = asyncio.create_task(self._keep_talking())

    async def _keep_talking(self) -> None:
        while True:
            if self._talk is not None:
                self._talk.sendall(b"block/far clear\n")
            await asyncio.sleep(0.2)

    async def _say(self, line: str) -> None:
        if self._talk is None:
            self._talk = socket.create_connection(("127.0.0.1", self._port))
        self._talk.sendall(f"{line}\n".encode())

    async def order(self, number: int) -> None:
        """Say it."""
        await self._say(f"accessory/{number}/ordered reverse")

    async def lose(self) -> None:
        """End."""
        if self._talk is not None:
            self._talk.close()
        self._talk = None

    async def back(self) -> None:
        """Begin to talk again, and say where 62 stands."""
        await self.prove()

    async def prove(self) -> None:
        """Say it."""
        await self._say("accessory/62/proved reverse")

    async def close(self) -> None:
        """End."""
        self._talking.cancel()
        await self.lose()


class NobodyAsks(Losing):
    """Whoever made requests over HTTP makes none any more."""

    limit = 1.0
    why = r"nothing came from it for 1 s \(its `lost-after`\)"

    async def open(self) -> None:
        """Begin to ask as soon as somebody is there."""
        self.source = "{kind: http, lost-after: 1 s}"
        self._port = free_port()
        self._talking = asyncio.create_task(self._keep_asking())

    @property
    def page(self) -> str:
        """A port of our choice."""
        return f"127.0.0.1:{self._port}"

    async def _keep_asking(self) -> None:
        while True:
            await asyncio.sleep(0.2)
            try:
                await self._post("block/far", b"clear")
            except OSError:
                continue

    async def _post(self, path: str, body: bytes) -> None:
        address = f"http://127.0.0.1:{self._port}/api/events/bus/{path}"
        await asyncio.to_thread(lambda: urllib.request.urlopen(address, body, timeout=PATIENCE).close())

    async def order(self, number: int) -> None:
        """Ask for it."""
        await self._post(f"accessory/{number}/ordered", b"reverse")

    async def lose(self) -> None:
        """Ask no more."""
        self._talking.cancel()
        await asyncio.gather(self._talking, return_exceptions=True)

    async def back(self) -> None:
        """Ask again, and say where 62 stands."""
        self._talking = asyncio.create_task(self._keep_asking())
        await self.prove()

    async def prove(self) -> None:
        """Say it."""
        await self._post("accessory/62/proved", b"reverse")

    async def close(self) -> None:
        """End."""
        await self.lose()


class GatewayGone(Losing):
    """A gateway of LCC ends its connections; when it is back its nodes say how their events stand."""

    why = "broke the connection off"
    proves = False

    # S-9.7.0.4, section 5.3: 61 + 3 = 64 and 62 + 3 = 65, shifted by one; the last bit is 0 for reverse.
    EVENTS: ClassVar = {61: "0101020000FF0080", 62: "0101020000FF0082"}

    async def open(self) -> None:
        """Serve whoever connects."""
        self._gateway = Gateway()
        await self._gateway.open()
        port = self._gateway.port
        self.source = f"{{kind: lcc, host: 127.0.0.1, port: {port}, node-id: 01.02.03.04.05.06}}"

    async def order(self, number: int) -> None:
        """Send the event."""
        self._gateway.client.say(":X10701123N050101019A3C;", f":X195B4123N{self.EVENTS[number]};")

    async def lose(self) -> None:
        """End all connections by a reset."""
        await self._gateway.shut()

    async def back(self) -> None:
        """Serve again, and answer how the orders stand: producer identified, valid."""
        states = [":X10701123N050101019A3C;", *(f":X19544123N{event};" for event in self.EVENTS.values())]
        self._gateway.when = {":X19970": states}
        await self._gateway.open()

    async def close(self) -> None:
        """End."""
        await self._gateway.shut()


WAYS: Final[dict[str, type[Losing]]] = {
    "mqtt: broker killed": BrokerKilled,
    "mqtt: lost-after": Quiet,
    "topics: last will": LastWill,
    "topics: heartbeat": HeartStops,
    "dcc: TCP ended": Station,
    "dcc: unplugged": Unplugged,
    "lcc: gateway gone": GatewayGone,
    "line: pipe removed": PipeGone,
    "line: lost-after": SpeakerGone,
    "http: lost-after": NobodyAsks,
}
