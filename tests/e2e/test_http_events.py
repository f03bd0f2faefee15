"""Events over HTTP to a real daemon: to the byte, and what whoever asks is answered."""

from __future__ import annotations

import json
import re
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from tests.support.daemon import Daemon, hearing, running
from tests.support.mosquitto import StartMosquitto
from tests.test_documentation import layout_blocks

DARK, LIT = bytes.fromhex("000000"), bytes.fromhex("ff0000")


def layout() -> str:
    """Return the layout of the guide."""
    blocks = layout_blocks("config/guide/sources.md")
    (text,) = (block.text for block in blocks if "layout: Events over HTTP\n" in block.text)
    return text


def post(daemon: Daemon, path: str, body: bytes, **headers: str) -> tuple[int, Any]:
    """Post an event to the daemon's page; return status and answer."""
    address = re.search(r"the page is at (\S+)", daemon.output)
    assert address is not None, daemon.output
    request = urllib.request.Request(f"{address[1]}api/events/{path}", body, headers, method="POST")  # noqa: S310 - its own page
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:  # noqa: S310 - the same
            return answer.status, json.loads(answer.read())
    except urllib.error.HTTPError as refused:
        text = refused.read().decode()
        return refused.code, json.loads(text) if text.startswith("{") else text


def test_an_event_by_http_reaches_the_byte(tmp_path: Path, mosquitto: StartMosquitto) -> None:
    """It is answered with what it means and whether anything listens; what is refused is told and changes nothing."""
    port = mosquitto().port
    with (
        hearing(port, "lamproom/frame/#") as frames,
        running(tmp_path, layout(), port, "--page", "127.0.0.1:0") as daemon,
    ):
        daemon.wait_for("events from phone come in: requests are taken at http://127.0.0.1:")
        status, said = post(daemon, "phone/button/bell", b"pressed")
        assert (200, ["button bell was pressed (by phone)"], True) == (
            status,
            said["understood"],
            said["listened to"],
        )
        assert {"kind": "button", "name": "bell", "state": "pressed"}.items() <= said["events"][0].items()
        frames.levels("bench/one", LIT)

        status, said = post(daemon, "phone/button/gong", b"pressed")
        assert (200, False) == (status, said["listened to"])
        status, said = post(daemon, "phone/button/bell", b"pushed")
        assert (422, "`pressed` or `released`") == (status, said["expected"])
        daemon.wait_for("what phone sent means nothing here and changes nothing: `pushed` is not a word")
        status, said = post(daemon, "phone/accessory/61/ordered", b"reverse")
        assert (422, "this source takes no `accessory`: its `takes` in the layout file does not name it") == (
            status,
            said["refused"],
        )
        status, said = post(daemon, "mqtt/button/bell", b"released")
        assert (404, "no source 'mqtt' takes requests; those that do: phone") == (status, said["error"])
        assert 403 == post(daemon, "phone/button/bell", b"released", Origin="http://elsewhere.example")[0]
        assert {LIT} >= {payload[12:] for _topic, payload in frames.all()}

        assert 200 == post(daemon, "phone/button/bell", b"released")[0]
        frames.levels("bench/one", DARK)


def test_without_a_page_the_owner_is_told(tmp_path: Path, mosquitto: StartMosquitto) -> None:
    """With what to do."""
    with running(tmp_path, layout(), mosquitto().port) as daemon:
        daemon.wait_for(
            "events from phone do not come in: no page is open, so nobody can ask: start with `--page"
        )
