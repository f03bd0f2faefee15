"""Facts over HTTP: one way in, the words of the facts, and no page, no source."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.contract import EventSource, Raw
from adapters.events.http import KINDS, HttpFacts, HttpOptions
from adapters.events.mqtt import MqttFacts, MqttFactsOptions
from adapters.testing import SourceBench, SourceContract
from bridge.errors import DecodeError, LinkError
from tests.support.far_ends import Requests
from tests.support.hosts import listening


class TestHttpFacts(SourceContract[Requests]):
    """It keeps the contract of a source; whoever asks need not be there."""

    can_go = False
    flood_of = 20_000

    @asynccontextmanager
    async def far_end(self, host: SourceBench) -> AsyncIterator[Requests]:
        yield Requests(host, (("button/bell", b"pressed"), ("accessory/61/ordered", b"reverse")))

    def source(self, far_end: Requests, host: SourceBench) -> EventSource:
        del far_end
        return HttpFacts("bus", HttpOptions(), host)


async def test_requests_are_taken_while_it_listens() -> None:
    """And not before, and not behind it."""
    host = SourceBench()
    assert not host.door.ask("button/bell", b"pressed")
    async with listening(HttpFacts("bus", HttpOptions(), host)):
        assert [f"requests are taken at {host.door.address}"] == [why for _state, why in host.links]
        assert host.door.ask("button/bell", b"pressed")
    assert not host.door.ask("button/bell", b"pressed")
    assert [Raw("button/bell", b"pressed")] == host.raws


async def test_without_a_page_it_says_what_to_do() -> None:
    """There is nowhere to ask."""
    host = SourceBench()
    host.door.address = None
    with pytest.raises(LinkError, match="start with `--page HOST:PORT`"):
        await HttpFacts("bus", HttpOptions(), host).listen()


@given(
    st.one_of(
        st.sampled_from(
            ["accessory/61/ordered", "aspect/7", "block/w", "use/signal/T4", "clock", "button/", "x"]
        ),
        st.text(max_size=20),
    ),
    st.one_of(
        st.sampled_from([b"reverse", b"occupied", b"12", b"out: lamp", b'{"time": "06:00"}']), st.binary()
    ),
)
def test_a_request_means_what_it_means_over_mqtt(channel: str, body: bytes) -> None:
    """One set of topics and words: below a root there, below the page here."""
    own = HttpFacts("bus", HttpOptions(), SourceBench())
    mqtt = MqttFacts("bus", MqttFactsOptions(), SourceBench())
    try:
        expected = mqtt.decode(Raw(f"layout/{channel}", body), 1)
    except DecodeError:
        with pytest.raises(DecodeError):
            own.decode(Raw(channel, body), 1)
        return
    assert expected == own.decode(Raw(channel, body), 1)


@pytest.mark.parametrize("kind", KINDS)
def test_it_takes_no_more_than_it_is_to_take(kind: str) -> None:
    """What `takes` does not name is refused, and says so."""
    others = tuple(each for each in KINDS if each != kind)
    source = HttpFacts("bus", HttpOptions(takes=others), SourceBench())
    with pytest.raises(DecodeError, match=f"takes no `{kind}`") as caught:
        source.decode(Raw(f"{kind}/61/ordered", b"normal"), 1)
    assert ", ".join(others) == caught.value.expected
    with pytest.raises(ValueError, match="is no kind of fact: write accessory,"):
        HttpOptions.model_validate({"takes": [f"{kind}s"]})
