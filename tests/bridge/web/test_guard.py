"""Who the page answers to."""

from __future__ import annotations

import pytest

from bridge.web.guard import refusal


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1", "127.0.0.1:8080", "192.168.4.20:80", "[::1]:8080", "[fe80::1]", "localhost:1", "LOCALHOST"],
)
def test_answers_to_addresses_and_localhost(host: str) -> None:
    """An address needs no name server, so nobody can point it elsewhere."""
    assert refusal(host, None, "0.0.0.0") is None  # noqa: S104 - a word here, nothing is bound


def test_answers_to_the_name_it_was_started_with() -> None:
    """The owner chose this name; any other is a stranger's until proved otherwise."""
    assert refusal("Tarn-Pi.local:8080", None, "tarn-pi.local") is None
    assert refusal("other.local:8080", None, "tarn-pi.local") is not None


@pytest.mark.parametrize(
    "host",
    [
        "elsewhere.example",
        "127.0.0.1.elsewhere.example",
        "localhost.elsewhere.example:80",
        "127.1",
        "2130706433",
    ],
)
def test_refuses_names_that_a_stranger_may_answer_for(host: str) -> None:
    """DNS rebinding arrives with the stranger's own name in Host."""
    assert "use its IP address" in (refusal(host, None, "127.0.0.1") or "")


@pytest.mark.parametrize(
    "host", [None, "", ":80", "a@127.0.0.1", "127.0.0.1:x", "[::1", "127.0.0.1/path", "[zz]"]
)
def test_refuses_what_is_no_host(host: str | None) -> None:
    """A Host that cannot be read is refused, not guessed at."""
    assert refusal(host, None, "127.0.0.1") == "The request names no usable host."


@pytest.mark.parametrize(
    "origin", ["http://127.0.0.1:8080", "https://127.0.0.1:8080", "HTTP://127.0.0.1:8080"]
)
def test_accepts_its_own_origin(origin: str) -> None:
    """A script of the page itself names the page as its origin, also behind an HTTPS front."""
    assert refusal("127.0.0.1:8080", origin, "127.0.0.1") is None


@pytest.mark.parametrize(
    "origin",
    [
        "http://elsewhere.example",
        "http://127.0.0.1",
        "http://127.0.0.1:81",
        "null",
        "",
        "file://127.0.0.1:8080",
        "http://[",
    ],
)
def test_refuses_a_foreign_origin(origin: str) -> None:
    """Another port is another origin (RFC 6454, section 4), and a sandboxed frame has none."""
    assert "only to itself" in (refusal("127.0.0.1:8080", origin, "127.0.0.1") or "")
