"""What is found in the entries of outputs when the file is read, each with its line."""

from __future__ import annotations

import pytest

from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters

HEAD = """\
layout: Fernhollow
builds:
  pixel: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}
  strip: {chips: [ws2812b, ws2812b, ws2812b], lamps: {lamp: {full-colour: 1}}}
nodes:
  tarn:
    output: yard
    chains:
      - {name: throat, fixtures: [{name: A, build: pixel}]}
      - {name: shed, fixtures: [{name: B, build: pixel}]}
  hill:
    output: far
    chains:
      - {name: line, fixtures: [{name: C, build: pixel}]}
outputs:
"""
"""The outputs begin in line 16."""


def found(outputs: str) -> list[str]:
    """Return the errors of a layout with these outputs."""
    lines = look_at_text("f", (HEAD + outputs).encode(), Adapters()).lines()
    return [line for line in lines if ": error: " in line]


def outputs(yard: str, far: str = "{kind: e131, host: 10.0.0.9, chains: {hill/line: {universe: 1}}}") -> str:
    """Return the outputs: `yard` in lines 16 and on, `far` behind it."""
    return f"  yard:\n{yard}  far: {far}\n"


def yard(throat: str, shed: str, more: str = "") -> str:
    """Return an output by E1.31; its chains stand in lines 20 and 21."""
    return (
        f"    kind: e131\n    host: 10.0.0.8\n{more}    chains:\n"
        f"      tarn/throat: {throat}\n      tarn/shed: {shed}\n"
    )


def test_sound_outputs_have_no_findings() -> None:
    """The same universe at two controllers is two universes."""
    assert [] == found(outputs(yard("{universe: 1}", "{universe: 2}")))


@pytest.mark.parametrize("universe", ["0", "64000", "-1", "1.5", "true", "first", "[1]"])
def test_a_universe_that_is_none_is_told_in_its_line(universe: str) -> None:
    """ANSI E1.31-2018, section 6.2.7, has 1 to 63999."""
    (line,) = found(outputs(yard("{universe: 1}", f"{{universe: {universe}}}")))
    assert line.startswith("f:21:")
    assert line.endswith("is not a universe: write 1 to 63999")


def test_universes_that_two_chains_share_are_told() -> None:
    """Both lines are named, and which one is free."""
    expected = (
        "f:21:29: error: universe 7 of E1.31 at 10.0.0.8:5568 would be for tarn/shed, and universe 7 for tarn/throat "
        "in line 20: two cannot share one, and from 8 on they are free"
    )
    assert [expected] == found(outputs(yard("{universe: 7}", "{universe: 7}")))


def test_universes_that_two_outputs_share_are_told() -> None:
    """Two outputs to one controller are looked at together."""
    far = "{kind: e131, host: 10.0.0.8, chains: {hill/line: {universe: 2}}}"
    (line,) = found(outputs(yard("{universe: 1}", "{universe: 2}"), far))
    assert line.startswith("f:22:")
    assert "universe 2 of E1.31 at 10.0.0.8:5568 would be for hill/line, and universe 2 for tarn/shed" in line


def test_multicast_universes_are_looked_at_together() -> None:
    """Every universe has one group, whatever output it comes from."""
    both = (
        "  yard: {kind: e131, chains: {tarn/throat: {universe: 1}, tarn/shed: {universe: 2}}}\n"
        "  far: {kind: e131, chains: {hill/line: {universe: 1}}}\n"
    )
    (line,) = found(both)
    assert "universe 1 of E1.31 by multicast would be for hill/line" in line


def test_a_universe_by_multicast_and_to_one_controller_is_told() -> None:
    """The controller would take both for its own: a universe is one, however its packets come (E1.31, 9.1.1)."""
    for far in ("universe: 2", "universe: 1"):
        both = (
            "  yard: {kind: e131, chains: {tarn/throat: {universe: 1}, tarn/shed: {universe: 2}}}\n"
            f"  far: {{kind: e131, host: 10.0.0.9, chains: {{hill/line: {{{far}}}}}}}\n"
        )
        (line,) = found(both)
        assert line.startswith("f:17:")
        assert f"universe {far[-1]} of E1.31 at 10.0.0.9:5568 would be for hill/line" in line
        assert f"and universe {far[-1]} of E1.31 by multicast for tarn/" in line
        assert "in line 16: two cannot share one, and from 3 on they are free" in line
    apart = both.replace("host: 10.0.0.9,", "host: 10.0.0.9, port: 5570,")
    assert [] == found(apart)


def test_ipv6_addresses_are_taken_where_the_protocol_has_them() -> None:
    """One address is one controller however it is spelt (RFC 5952); Art-Net 4 has IPv4 alone."""
    apart = yard("{universe: 1}", "{universe: 2}").replace("10.0.0.8", "'fd00::8'")
    far = "{kind: e131, host: 'FD00:0:0::8', chains: {hill/line: {universe: 2}}}"
    (line,) = found(outputs(apart, far))
    assert "universe 2 of E1.31 at [fd00::8]:5568 would be for hill/line" in line
    (line,) = found(outputs(apart, "{kind: artnet, host: 'fd00::9', chains: {hill/line: {universe: 2}}}"))
    assert "fd00::9 is no host: write its name or its address, such as 192.168.1.40" in line
    mixed = "{kind: ddp, host: 'fd00::9', local-address: 10.0.0.2, chains: {hill/line: {}}}"
    (line,) = found(outputs(apart, mixed))
    assert "nothing goes from 10.0.0.2 to fd00::9: write two IPv4 or two IPv6 addresses" in line


def test_a_chain_that_runs_past_the_last_universe_is_told() -> None:
    """With where it has to begin at the latest."""
    long = HEAD.replace(
        "fixtures: [{name: A, build: pixel}]",
        "fixtures: [" + ", ".join(f"{{name: A{number}, build: strip}}" for number in range(60)) + "]",
    )
    text = long + outputs(yard("{universe: 63999}", "{universe: 2}"))
    lines = [line for line in look_at_text("f", text.encode(), Adapters()).lines() if "error" in line]
    (line,) = lines
    assert line.startswith("f:20:")
    assert line.endswith("tarn/throat takes 2 universes, and the last is 63999: begin at 63998 or before")


def test_a_chain_that_is_left_out_is_told() -> None:
    """With what to write."""
    said = "    {kind: e131, host: 10.0.0.8, chains: {tarn/throat: {universe: 1}}}\n"
    (line,) = found(outputs(said))
    assert line.startswith("f:17:")
    assert line.endswith("nothing is said of the chain tarn/shed: add `tarn/shed: {universe: 1}`")
    both = found(outputs("    {kind: e131, host: 10.0.0.8}\n"))
    assert ["tarn/shed", "tarn/throat"] == [line.split("of the chain ")[1].split(":")[0] for line in both]


def test_a_chain_that_is_none_of_the_output_is_told() -> None:
    """With those that it has."""
    said = yard("{universe: 1}", "{universe: 2}") + "      hill/line: {universe: 3}\n"
    (line,) = found(outputs(said))
    assert line.startswith("f:22:")
    assert line.endswith("no chain of this output is called 'hill/line'; it has tarn/throat, tarn/shed")


def test_an_output_that_nobody_uses_has_no_chains() -> None:
    """It may stand there, and a chain that it names is none."""
    sound = outputs(yard("{universe: 1}", "{universe: 2}"))
    assert [] == found(sound + "  spare: {kind: e131, host: 10.0.0.7}\n")
    (line,) = found(sound + "  spare: {kind: e131, host: 10.0.0.7, chains: {tarn/shed: {universe: 1}}}\n")
    assert line.endswith("it has none: give a node the `output` of this name")


def test_two_outputs_from_one_port_are_told() -> None:
    """A port of this machine is given once."""
    far = "{kind: e131, host: 10.0.0.9, local-port: 5568, chains: {hill/line: {universe: 1}}}"
    (line,) = found(outputs(yard("{universe: 1}", "{universe: 2}", "    local-port: 5568\n"), far))
    assert "port 5568 of this machine would be for one output alone" in line


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("host", "yard:5568", "yard:5568 is no host: write its name or its address"),
        ("host", "239.255.0.1", "239.255.0.1 is a group and no host"),
        ("host", "fe80::1", "fe80::1 is no host by itself"),
        ("host", "ff18::8300:1", "ff18::8300:1 is a group and no host"),
        ("host", "fd00::g", "is no host"),
        ("local-address", "fe80::1", "write the interface of this machine behind it, such as fe80::1%eth0"),
        ("port", "70000", "70000 is not a port: write 1 to 65535"),
        ("local-address", "eth0", "eth0 is no address: write one of this machine"),
        ("priority", "201", "201 is not a priority: write 0 to 200"),
        ("refresh", "0", "0 is not a number of frames a second: write 1 to 1000"),
        ("synchronise", "64214", "64214 is not a universe"),
        ("source-name", "x" * 64, "is no source name: it has 64 bytes of text where 1 to 63 fit"),
        ("priorty", "100", "no key 'priorty' belongs here"),
    ],
)
def test_a_value_that_does_not_fit_is_told_in_its_line(key: str, value: str, words: str) -> None:
    """With what would."""
    said = yard("{universe: 1}", "{universe: 2}").replace("    host: 10.0.0.8\n", "")
    lines = found(outputs(f"    {key}: {value}\n{said}"))
    assert 1 == len(lines)
    assert lines[0].startswith("f:17:")
    assert words in lines[0]
