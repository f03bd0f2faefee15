"""The baseline: paho-mqtt on an asyncio loop, doing nothing but answering. Run as a process of its own.

    python -m tests.bench.echo PORT SIZE BURST

Each message below `mirror` is answered by a frame of SIZE bytes on `mirrored/frame/` and the last word of its
topic; where that is `burst`, by BURST frames on topics of their own. Acknowledgements come in too, and mean
nothing here. It reads by `add_reader` and publishes after paho's callback has returned, with TCP_NODELAY: the
quickest way that was found to use this library on a loop.
"""

from __future__ import annotations

import asyncio
import socket
import sys
from typing import Any

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from adapters.outputs.frame import HEADER_LENGTH, encode


def _no_delay(_client: mqtt.Client, _data: Any, sock: Any) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


async def answer(port: int, size: int, burst: int) -> None:
    """Answer until the process is ended."""
    frame = encode(0, 513, 1, bytes(size - HEADER_LENGTH))
    come: list[mqtt.MQTTMessage] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="echo", protocol=mqtt.MQTTv311)
    client.on_socket_open = _no_delay
    client.on_subscribe = lambda _client, _data, _id, _reasons, _properties: print("ready", flush=True)
    client.on_message = lambda _client, _data, message: come.append(message)
    client.connect("127.0.0.1", port, keepalive=3600)
    client.subscribe([("mirror/#", 0), ("mirrored/shown/#", 0)])
    sock = client.socket()
    assert isinstance(sock, socket.socket)

    def readable() -> None:
        client.loop_read()
        while come:
            topic = come.pop().topic
            if not topic.startswith("mirror/"):
                continue
            name = topic[topic.rindex("/") + 1 :]
            if name == "burst":
                for number in range(burst):
                    client.publish(f"mirrored/frame/burst/{number}", frame)
            else:
                client.publish(f"mirrored/frame/{name}", frame)

    asyncio.get_running_loop().add_reader(sock, readable)
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(answer(*map(int, sys.argv[1:4])))
