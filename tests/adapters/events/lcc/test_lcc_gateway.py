"""The LCC source over real TCP: how it joins, conflicts, late joins, lost gateways, and reads that are cut anyhow."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, Final

import pytest

from adapters.contract import AT_ONCE
from adapters.events.lcc.frames import Frame
from adapters.events.lcc.options import LccOptions
from adapters.events.lcc.source import MOST_CONFLICTS, LccSource, _Session
from adapters.testing import SourceBench
from bridge.errors import DecodeError, LinkError
from bridge.events import (
    SECOND,
    AccessoryOrdered,
    AccessoryProved,
    AspectOrdered,
    Authority,
    BlockReported,
    BlockState,
    Event,
    LinkState,
    Position,
)
from tests.support.lcc_gateway import Client, Gateway

OWN: Final = "01.02.03.04.05.06.00"
SAID: Final = {
    "host": "127.0.0.1",
    "node-id": "01.02.03.04.05.06",
    "blocks": {"tarn": {"occupied": f"{OWN}.01", "clear": f"{OWN}.02"}},
    "report": {"T2": {"stop": f"{OWN}.10", "clear": f"{OWN}.11"}},
}
ORDER: Final = ":X195B4123N0101020000FF0009;"


def source(gateway: Gateway, host: SourceBench, **more: Any) -> LccSource:
    """Return a source for a gateway."""
    return LccSource("bus", LccOptions.model_validate({**SAID, "port": gateway.port, **more}), host)


def events(made: LccSource, host: SourceBench) -> list[Event]:
    """Return what all that came in means; what is refused is left out."""
    found: list[Event] = []
    for raw in host.raws:
        try:
            found += made.decode(raw, 0)
        except DecodeError:
            continue
    return found


@asynccontextmanager
async def listening(
    gateway: Gateway, host: SourceBench, **more: Any
) -> AsyncIterator[tuple[LccSource, asyncio.Task[None]]]:
    """Have a source listen, and end it."""
    made = source(gateway, host, **more)
    task = asyncio.create_task(made.listen())
    try:
        yield made, task
    finally:
        task.cancel()
        await asyncio.wait([task])


async def joined(gateway: Gateway, host: SourceBench, number: int = 1) -> Client:
    """Wait until a source has joined by the connection of this number."""
    assert await host.until(lambda: len(gateway.clients) >= number and host.up), host.links
    client = gateway.clients[number - 1]
    assert await host.until(lambda: ":X195B4aaaN010100000100F000;" in client.told())
    return client


async def came(host: SourceBench, count: int) -> None:
    """Wait until so much came in."""
    assert await host.until(lambda: len(host.raws) >= count), host.raws


async def test_a_source_joins_as_a_node_does() -> None:
    """S-9.7.2.1 section 6.2: nothing goes out in the first 0.2 s but four CID; then all that a node has to say.

    Last it asks who the others are, how their events stand, and what the clock shows; and then it counts as heard.
    """
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host):
            await host.until(lambda: bool(gateway.clients) and len(gateway.client.heard) >= 4)
            asked_at = host.now()
            client = await joined(gateway, host)
            assert asked_at + 0.15 * SECOND <= host.now()
            told = client.told()
            assert [":X17010aaaN;", ":X16203aaaN;", ":X15040aaaN;", ":X14506aaaN;"] == told[:4]
            assert [":X10700aaaN;", ":X10701aaaN010203040506;", ":X19100aaaN010203040506;"] == told[4:7]
            assert [f":X194A4aaaN{each};" for each in RANGES] == told[7:13]
            assert [f":X194C7aaaN010203040506000{each};" for each in (1, 2)] == told[13:15]
            assert [
                f":X19547aaaN{each};" for each in ("010100000100F000", "0102030405060010", "0102030405060011")
            ] == told[15:18]
            assert [":X10702aaaN;", ":X19970aaaN;", ":X195B4aaaN010100000100F000;"] == told[18:]
            assert [(LinkState.UP, f"connected to 127.0.0.1:{gateway.port}")] == host.links


# Of accessories: activate, deactivate, both feedbacks, extended (S-9.7.0.4 section 5.3); and of the fast clock.
RANGES: Final = (
    "0101020000FF0FFF",
    "0101020000FE0FFF",
    "0101020000FD0FFF",
    "0101020000FC0FFF",
    "010102000107FFFF",
    "010100000100FFFF",
)


async def test_an_alias_that_somebody_has_is_not_taken() -> None:
    """S-9.7.2.1 section 6.2: whoever has it answers with RID, and four CID for another follow."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host):
            assert await host.until(lambda: bool(gateway.clients) and len(gateway.client.heard) >= 4)
            first = gateway.client.alias
            host.pass_by(SECOND // 10)
            gateway.client.say(":X10700aaaN;")
            assert await host.until(lambda: len(gateway.client.heard) >= 8)
            asked_at = host.now()
            assert await host.until(lambda: len(gateway.client.heard) >= 9)
            assert asked_at + 0.15 * SECOND <= host.now()  # the wait begins anew with each alias
            client = await joined(gateway, host)
            assert first != client.alias
            assert f":X10700{first}N;" not in client.heard
            assert ":X10700aaaN;" == client.told()[8]


async def test_an_alias_is_defended_and_yielded_while_events_go_on_coming() -> None:
    """A check is answered with RID; if somebody sends under it all the same, it is given up and another asked for."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (made, _task):
            client = await joined(gateway, host)
            first, before = client.alias, len(client.heard)
            client.say(":X17050aaaN;")
            assert await host.until(lambda: len(client.heard) > before)
            assert [f":X10700{first}N;"] == client.heard[before:]

            client.say(":X195B4aaaN0101020000FF0009;", ":X195B4123N0101020000FF0008;")
            assert await host.until(lambda: ":X10701aaaN010203040506;" in client.told()[before:])
            assert [f":X10703{first}N010203040506;"] == client.heard[before + 1 : before + 2]
            assert [":X17010aaaN;", ":X16203aaaN;", ":X15040aaaN;", ":X14506aaaN;"] == client.told()[
                before + 2 :
            ][:4]
            assert [":X10700aaaN;", ":X10701aaaN010203040506;"] == client.told()[before + 6 :]
            assert first != client.alias
            assert [Position.NORMAL, Position.REVERSE] == [
                each.position for each in events(made, host) if isinstance(each, AccessoryOrdered)
            ]
            assert [LinkState.UP] == [state for state, _why in host.links]


async def test_a_gateway_that_sends_back_what_we_send_is_told() -> None:
    """Then every alias seems taken: it ends with the reason and what to do."""

    class Echo(Gateway):
        def answers(self, frame: str) -> list[str]:
            return [frame]

    async with Echo() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (_made, task):
            assert await host.until(task.done)
            with pytest.raises(
                LinkError, match=r"seems to send back .* Have it pass on only what others send"
            ):
                task.result()
            assert MOST_CONFLICTS <= sum(frame.startswith(":X17") for frame in gateway.client.heard)
            assert not host.up


BUS: Final = {
    # The nodes of the bus tell who they are, and then how their events stand.
    ":X10702": [":X10701123N050101019A3C;", ":X10701456N050101019A3D;"],
    ":X19970": [
        ":X19544123N0102030405060001;",  # the block is occupied,
        ":X19545123N0102030405060002;",  # and not clear
        ":X19544456N0101020000FF0051;",  # accessory 37 was ordered normal
        ":X194C4456N0101020001002805;",  # and extended accessory 37 aspect 5
        ":X19544456N0101020000FD0051;",  # accessory 37 is proved normal,
        ":X19545456N0101020000FD0050;",  # and not reverse
        ":X19547456N0101020000FF0009;",  # of 1 nobody knows
        ":X19544456N0909090909090909;",  # and this is nothing to us
        ":X19524456N0101020000FF0FFF;",
    ],
}


async def test_who_joins_late_learns_how_it_stands_and_gets_no_command() -> None:
    """Identified as valid or invalid is state: orders are copies, what is seen is feedback, and it is said by whom."""
    async with Gateway(BUS) as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (made, _task):
            await joined(gateway, host)
            await came(host, 6)
            state = Authority.STATE
            occupied = BlockReported(at=0, source="bus", name="tarn", state=BlockState.OCCUPIED)
            normal = AccessoryProved(at=0, source="bus", number=37, position=Position.NORMAL)
            assert [
                occupied,
                occupied,
                AccessoryOrdered(at=0, source="bus", number=37, position=Position.NORMAL, authority=state),
                AspectOrdered(at=0, source="bus", number=37, aspect=5, authority=state),
                normal,
                normal,
            ] == events(made, host)
            assert ["05.01.01.01.9A.3C"] * 2 + ["05.01.01.01.9A.3D"] * 4 == [raw.channel for raw in host.raws]


async def test_a_node_that_comes_later_tells_how_its_events_stand() -> None:
    """It says who it is when it starts; until then only its alias is known."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (made, _task):
            client = await joined(gateway, host)
            client.say(":X19544789N0102030405060002;")
            client.say(":X10701789N050101019A3E;:X19100789N050101019A3E;:X19545789N0102030405060002;")
            await came(host, 2)
            assert ["alias 789", "05.01.01.01.9A.3E"] == [raw.channel for raw in host.raws]
            assert [BlockState.CLEAR, BlockState.OCCUPIED] == [
                each.state for each in events(made, host) if isinstance(each, BlockReported)
            ]


async def test_contacts_of_a_turnout_are_put_together_from_frames() -> None:
    """The line of the log has both frames, so that it means the same when it is replayed."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (made, _task):
            client = await joined(gateway, host)
            for code in ("FD0051", "FC0051", "FD0050", "FC0050", "FD0051"):
                client.say(f":X195B4123N0101020000{code};")
            await came(host, 5)
            assert [
                Position.NORMAL,
                Position.UNKNOWN,
                Position.REVERSE,
                Position.MOVING,
                Position.NORMAL,
            ] == [each.position for each in events(made, host) if isinstance(each, AccessoryProved)]
            assert b":X195B4123N0101020000FC0050;:X195B4123N0101020000FD0051;" == host.raws[-1].payload


@pytest.mark.parametrize("hard", [False, True])
async def test_a_gateway_that_goes_is_told_and_comes_back_with_state(hard: bool) -> None:
    """What the source knew of contacts and nodes is forgotten, and asked for again; no old order comes again."""
    async with Gateway(BUS) as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (_made, task):
            client = await joined(gateway, host)
            client.say(ORDER)
            await came(host, 7)
            await gateway.shut(hard=hard)
            assert await host.until(task.done)
            words = "broke the connection off" if hard else "ended the connection: look whether"
            with pytest.raises(LinkError, match=rf"127\.0\.0\.1:{gateway.port} {words}"):
                task.result()
        async with listening(gateway, host) as (_made, task):
            assert await host.until(task.done)
            with pytest.raises(LinkError, match=r"takes no connection: .*is the port right"):
                task.result()
        await gateway.open()
        host.links.clear()
        host.raws.clear()
        async with listening(gateway, host) as (made, _task):
            await joined(gateway, host, 2)
            await came(host, 6)
            assert not [
                each for each in events(made, host) if getattr(each, "authority", None) is Authority.COMMAND
            ]


async def test_a_source_that_listens_again_knows_nothing_of_before() -> None:
    """The same source object on a new connection: a contact that was open then says nothing now."""
    async with Gateway() as gateway:
        host = SourceBench()
        made = source(gateway, host)
        for number, code in ((1, "FC0050"), (2, "FC0051")):
            task = asyncio.create_task(made.listen())
            client = await joined(gateway, host, number)
            client.say(f":X195B4123N0101020000{code};")
            await came(host, number)
            client.close()
            await asyncio.wait([task])
            host.links.clear()
        assert b":X195B4123N0101020000FC0051;" == host.raws[-1].payload


STREAM: Final = (
    ":X195B4123N0101020000FF0009;\r\n"
    ":X195B4123N01010200"  # broken off
    ":X195B4123N0102030405060001;"
    "rubbish;"
    ":S123N00;:X10701123N050101019A3C;"
    ":X195B4123N0101020001002805;"
)


async def test_reads_that_are_split_at_every_byte_say_the_same() -> None:
    """However the stream is cut: the same inputs, the same events, and what is broken is refused by itself."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (made, _task):
            client = await joined(gateway, host)
            cuts = [[place] for place in range(1, len(STREAM))]
            for places in ([], *cuts, list(range(1, len(STREAM)))):
                host.raws.clear()
                client.say(":X10703123N050101019A3C;")  # nobody is called 123 yet
                for start, end in zip([0, *places], [*places, len(STREAM)], strict=True):
                    client.say(STREAM[start:end])
                    await asyncio.sleep(0)
                    await asyncio.sleep(0)
                await came(host, 5)
                peer = f"127.0.0.1:{gateway.port}"
                assert [
                    ("alias 123", b":X195B4123N0101020000FF0009;"),
                    (peer, b":X195B4123N01010200"),
                    ("alias 123", b":X195B4123N0102030405060001;"),
                    (peer, b"rubbish;"),
                    ("05.01.01.01.9A.3C", b":X195B4123N0101020001002805;"),
                ] == [(raw.channel, raw.payload) for raw in host.raws], places
                assert [AccessoryOrdered, BlockReported, AspectOrdered] == [
                    type(each) for each in events(made, host)
                ]


async def test_a_thousand_frames_in_one_piece_come_in_one_by_one() -> None:
    """In their order, with what the source has to answer between."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (_made, _task):
            client = await joined(gateway, host)
            before = len(client.heard)
            sent = [f":X195B4123N0101020001{number:04X}05;" for number in range(1000)]
            client.say(":X19490123N;" + "".join(sent) + ":X19490123N;")
            await came(host, 1000)
            assert sent == [raw.payload.decode() for raw in host.raws]
            assert await host.until(lambda: len(client.heard) >= before + 2)
            assert [":X19170aaaN010203040506;"] * 2 == client.told()[before:]


async def test_another_node_with_our_number_is_handed_in_to_be_refused() -> None:
    """The owner is told it once, with the number; it goes on all the same."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (made, _task):
            client = await joined(gateway, host)
            client.say(":X10701123N010203040506;")
            await came(host, 1)
            with pytest.raises(DecodeError, match="another node of this bus has our number"):
                made.decode(host.raws[0], 0)
            assert await host.until(lambda: ":X195B4aaaN0101000000000201;" in client.told())


async def test_a_gateway_that_takes_nothing_any_more_is_told() -> None:
    """What we have to answer does not grow without end: the connection is given up with a reason."""
    async with Gateway() as gateway:
        host = SourceBench()
        async with listening(gateway, host) as (_made, task):
            client = await joined(gateway, host)
            client.transport.pause_reading()
            for _ in range(200):
                client.say(":X19970123N;" * 500)
                if await host.until(task.done, 0.05):
                    break
            assert await host.until(task.done)
            with pytest.raises(LinkError, match="takes nothing from us any more: restart the gateway"):
                task.result()


def shows(host: SourceBench, aspect: str, *, retained: bool = False) -> None:
    """Tell what the signal shows, as the bridge does."""
    host.broker.hand(
        "lamproom/device/T2", json.dumps({"aspect": aspect, "reason": ""}).encode(), retained=retained
    )


async def test_what_a_signal_shows_is_sent_as_an_event_and_told_to_those_who_ask() -> None:
    """Once for each change, and not what the broker kept from before; whoever asks learns how it stands."""
    async with Gateway() as gateway:
        host = SourceBench()
        host.broker.turn(LinkState.UP)
        async with listening(gateway, host):
            client = await joined(gateway, host)
            before = len(client.heard)
            shows(host, "stop", retained=True)
            client.say(":X19914123N0102030405060010;:X19914123N0102030405060011;")
            assert await host.until(lambda: len(client.heard) >= before + 2)
            for aspect in ("clear", "clear", "approach", "stop"):
                shows(host, aspect)
            for payload in (b"{", b"[]", b"{}", b"7"):
                host.broker.hand("lamproom/device/T2", payload)
            client.say(":X19914123N0102030405060010;")
            assert await host.until(lambda: len(client.heard) >= before + 5)
            assert [
                ":X19544aaaN0102030405060010;",
                ":X19545aaaN0102030405060011;",
                ":X195B4aaaN0102030405060011;",
                ":X195B4aaaN0102030405060010;",
                ":X19544aaaN0102030405060010;",
            ] == client.told()[before:]
        shows(host, "clear")  # nobody listens any more, and nothing is sent


async def test_what_a_signal_shows_while_there_is_no_alias_is_sent_when_there_is_one() -> None:
    """A conflict takes 0.2 s, in which nothing may go out; then the newest goes out, and only that."""
    async with Gateway() as gateway:
        host = SourceBench()
        host.broker.turn(LinkState.UP)
        async with listening(gateway, host):
            client = await joined(gateway, host)
            client.say(":X195B4aaaN0909090909090909;")
            before = len(client.heard)
            assert await host.until(lambda: len(client.heard) >= before + 5)
            for aspect in ("clear", "stop"):
                shows(host, aspect)
            assert await host.until(lambda: len(client.heard) >= before + 8)
            assert [
                ":X10700aaaN;",
                ":X10701aaaN010203040506;",
                ":X195B4aaaN0102030405060010;",
            ] == client.told()[before + 5 :]


async def test_a_storm_of_questions_lets_the_loop_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    """One frame may ask for all events of ours: nobody else waits until a hundred such answers are made."""
    blocks = {
        f"b{n}": {"occupied": f"{OWN[:-3]}.01.{n:02X}", "clear": f"{OWN[:-3]}.02.{n:02X}"} for n in range(200)
    }
    host = SourceBench()
    made: list[int] = [0]
    send, sleep = _Session.send, host.sleep

    def count(session: _Session, frames: list[Frame]) -> None:
        made[-1] += len(frames)
        send(session, frames)

    async def turn(seconds: float) -> None:
        made.append(0)
        await sleep(seconds)

    async with Gateway() as gateway, listening(gateway, host, blocks=blocks):
        client = await joined(gateway, host)
        known = len(client.heard)
        monkeypatch.setattr(_Session, "send", count)
        monkeypatch.setattr(host, "sleep", turn)
        client.say(*(":X19970123N;" for _time in range(50)))
        assert await host.until(lambda: len(client.heard) >= known + 50 * 400)
    assert max(made) <= 400 + 50 + AT_ONCE
