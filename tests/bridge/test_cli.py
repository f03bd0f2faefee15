"""The commands as their owner meets them: in a process of their own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

from bridge.cli import app
from bridge.service.shipped import shipped_layout
from tests.support.mosquitto import Mosquitto, StartMosquitto
from tests.support.program import START, lamproom

SENT = "sent reverse on layout/accessory/61/ordered\n"


def send(broker: Mosquitto, *words: str) -> tuple[int, str, str]:
    """Send to a broker; return status, output and errors."""
    result = lamproom("send", "--broker", str(broker.port), *words)
    return result.returncode, result.stdout, result.stderr


@pytest.fixture
def guarded(mosquitto: StartMosquitto, tmp_path: Path) -> Mosquitto:
    """A broker that wants a user `yard` and the password `lantern`."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", passwords, "yard", "lantern"], check=True, timeout=20)
    own = (
        ("user root",) if os.geteuid() == 0 else ()
    )  # as another user it could not read the test's own folder
    return mosquitto("allow_anonymous false", f"password_file {passwords}", *own)


def test_what_was_sent_is_one_line(mosquitto: StartMosquitto) -> None:
    """A fact that the broker took is told in one line, and nothing else is said."""
    assert (0, SENT, "") == send(mosquitto(), "accessory", "61", "reverse")


def test_a_kept_order_is_warned_of(mosquitto: StartMosquitto) -> None:
    """An order with `--retain` is sent, and its sender learns that the copy orders nothing; a report is fine."""
    broker = mosquitto()
    status, output, errors = send(broker, "accessory", "61", "reverse", "--retain")
    assert (0, SENT) == (status, output)
    assert errors.startswith("lamproom: a kept order is no command")
    assert (0, "sent occupied on layout/block/tarn\n", "") == send(
        broker, "block", "tarn", "occupied", "--retain"
    )


def test_a_broker_that_wants_a_password_is_given_one(guarded: Mosquitto, tmp_path: Path) -> None:
    """Refused without a password or with a wrong one, in a sentence with the remedy; let in with the right one."""
    right, wrong = tmp_path / "right", tmp_path / "wrong"
    right.write_text("lantern\n")
    wrong.write_text("lamp\n")
    words = ("accessory", "61", "reverse")
    refused = f"lamproom: the broker at 127.0.0.1:{guarded.port} refused us (Not authorized): "
    assert (2, "", f"{refused}give --user and --password-file\n") == send(guarded, *words)
    assert (2, "", f"{refused}look at --user and --password-file\n") == send(
        guarded, *words, "--user", "yard", "--password-file", str(wrong)
    )
    assert (0, SENT, "") == send(guarded, *words, "--user", "yard", "--password-file", str(right))


def test_a_user_without_a_password_is_refused() -> None:
    """A user name and its password go together."""
    result = lamproom("send", "--user", "yard", "accessory", "61", "reverse")
    assert 2 == result.returncode
    assert "lamproom: --user and --password-file go together: give both, or neither\n" == result.stderr


def test_a_password_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """The sentence names the file and what is wrong with it."""
    missing = str(tmp_path / "none")
    result = lamproom("send", "--user", "yard", "--password-file", missing, "accessory", "61", "reverse")
    assert 2 == result.returncode
    assert result.stderr.startswith(
        f"lamproom: the password file {missing} cannot be read (No such file or directory): "
    )


def test_a_broker_that_is_not_there_is_told(mosquitto: StartMosquitto) -> None:
    """A broker that does not run, or does not answer, is one sentence and status 2."""
    broker = mosquitto()
    broker.freeze()
    status, output, errors = send(broker, "accessory", "61", "reverse")
    broker.thaw()
    assert (2, "") == (status, output)
    assert errors.startswith(
        f"lamproom: the broker at 127.0.0.1:{broker.port} cannot be reached (no answer within 5 s)"
    )
    broker.stop()
    status, output, errors = send(broker, "accessory", "61", "reverse")
    assert (2, "") == (status, output)
    assert errors.startswith(
        f"lamproom: the broker at 127.0.0.1:{broker.port} cannot be reached (Connection refused): is it running?"
    )


@pytest.mark.parametrize("module", ["typer", "bridge.cli", "yaml", "numpy", "paho", "bridge.service.app"])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_daemon_that_is_ended_while_it_loads_ends_in_peace(module: str, number: signal.Signals) -> None:
    """Ctrl-C in the first second is a clean end: status 0 and not a word, whatever is being loaded."""
    code = (
        "import os, sys\n"
        "class Ender:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        f"        if name == {module!r}: os.kill(os.getpid(), {int(number)})\n"
        f"sys.meta_path.insert(0, Ender())\n{START}"
    )
    command = [sys.executable, "-c", code, "run", "config/first-steps.yaml", "--page", "none"]
    result = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (0, "", "") == (result.returncode, result.stdout, result.stderr)


def test_another_command_that_is_ended_has_not_succeeded() -> None:
    """A check that was broken off has found nothing out, and its status says so."""
    code = f"import os, bridge.cli\nbridge.cli.layouts.look = lambda _file: os.kill(os.getpid(), 2)\n{START}"
    command = [sys.executable, "-c", code, "check", "config/first-steps.yaml"]
    result = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (130, "", "") == (result.returncode, result.stdout, result.stderr)


@pytest.mark.parametrize("command", [(), ("check",), ("run",), ("demo",), ("replay",), ("send",), ("why",)])
def test_help_is_plain(command: tuple[str, ...]) -> None:
    """No sentence is cut off, no type of the program's language is shown, and lines fit a terminal."""
    result = lamproom(*command, "--help")
    assert 0 == result.returncode
    assert [] == [
        mark for mark in ("...\n", "<", "{", "list[", "str") if mark in result.stdout.replace("ARGS]...", "")
    ]
    assert all(len(line) <= 80 for line in result.stdout.splitlines())


def test_every_command_is_in_the_list_with_its_whole_line() -> None:
    """The list of commands shows the short line of each as it was written."""
    commands = getattr(typer.main.get_command(app), "commands")  # noqa: B009 - typer calls it a plain command
    shown = lamproom("--help").stdout
    assert {
        "adapters",
        "built",
        "check",
        "chip",
        "compare",
        "demo",
        "import",
        "keep",
        "lamps",
        "node",
        "rehearse",
        "replay",
        "run",
        "send",
        "why",
        "wiring",
    } == set(commands)
    assert [] == [name for name, command in commands.items() if command.short_help not in shown]


def test_a_command_that_needs_little_loads_little() -> None:
    """The version is printed without the engine, the page or the broker's client."""
    code = (
        "import sys\nfrom bridge.cli import main\n"
        "try: main(['--version'])\n"
        "finally: print(sorted({'numpy', 'aiohttp', 'paho', 'yaml', 'pydantic'} & set(sys.modules)))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert ["[]"] == result.stdout.splitlines()[1:]


def test_a_number_of_one_thing_has_no_plural() -> None:
    """The last line of a check counts in good English."""
    assert (
        "config/first-steps.yaml: no errors; 1 signal and 0 lights, 1 chip on 1 chain\n"
        == lamproom("check", "config/first-steps.yaml").stdout
    )


def test_files_for_a_board_are_written_and_told(tmp_path: Path) -> None:
    """The files are named in one line; what does not fit the chips' data sheets is told, and the settings are there."""
    layout = tmp_path / "layout.yaml"
    layout.write_text(
        "layout: Dunmere Halt\n"
        "builds:\n"
        "  three-lamp: {chips: [ws2811], lamps: {green: {channel: 1}, red: {channel: 2}, yellow: {channel: 3}}}\n"
        "  classic: {chips: [ws2812b], lamps: {head: {full-colour: 1}}}\n"
        "nodes: {far: {chains: [{name: old, fixtures: [{name: A, build: classic}, {name: B, build: three-lamp}]}]}}\n"
        "signals:\n"
        "  A: {commands: {1: {normal: stop, reverse: clear}}}\n"
        "  B: {commands: {2: {normal: stop, reverse: clear}}}\n"
    )
    words = ("node", str(layout), "far", "--broker", "192.0.2.10:1884", "--wifi", "yard", "--pin", "old=15")
    printed = lamproom(*words)
    written = lamproom(*words, "--to", str(tmp_path / "far"))
    assert (0, 0) == (printed.returncode, written.returncode), printed.stderr + written.stderr
    assert printed.stdout == (tmp_path / "far" / "settings.json").read_text()
    settings = json.loads(printed.stdout)
    assert ("192.0.2.10", 1884) == (settings["broker"]["host"], settings["broker"]["port"])
    assert ("yard", 15) == (settings["wifi"]["name"], settings["chains"][0]["pin"])
    assert written.stdout.startswith(f"{tmp_path / 'far'}: frames.py, ")
    assert "far/old: the data sheets of ws2811 and ws2812b" in written.stderr

    refused = lamproom(*words, "--hold", "old")
    assert 2 == refused.returncode
    assert "far/old carries signals (A, B), so it cannot hold" in refused.stderr
    layout.write_text(layout.read_text() + "lights: 1\n")
    assert 1 == lamproom(*words).returncode


def test_a_packet_is_tried_without_a_layout_file() -> None:
    """`--try` says what a packet is and exits with 0, or why it is none, with 1; without it FILE is asked for."""
    tried = lamproom("check", "--try", "dcc", "81 F9 78")
    assert (0, "") == (tried.returncode, tried.stderr)
    assert (
        "81 F9 78 is a basic accessory packet: accessory 1 (decoder 1, pair 0) is ordered normal"
        in tried.stdout
    )
    damaged = lamproom("check", "--try", "dcc", "81 F9 79")
    assert 1 == damaged.returncode
    assert damaged.stdout.startswith("refused: the error byte is 79, and would be 78")
    unknown = lamproom("check", "--try", "tram", "1")
    assert 2 == unknown.returncode
    assert "no event source is called 'tram'" in unknown.stderr
    nothing = lamproom("check")
    assert 2 == nothing.returncode
    assert "name the layout file" in nothing.stderr


def test_a_message_can_be_tried_with_a_file(tmp_path: Path) -> None:
    """The status says whether it is understood; with --json the findings alone go to the output."""
    file = str(tmp_path / "layout.yaml")
    Path(file).write_text(shipped_layout("first-steps.yaml"))
    tried = lamproom("check", file, "--try", "layout/accessory/61/ordered", "reverse")
    assert (0, True) == (tried.returncode, "that makes S1 show clear" in tried.stdout)
    refused = lamproom("check", file, "--try", "layout/accessory/61/ordered", "back")
    assert (1, True) == (refused.returncode, "mqtt: refused: `back` is not a word" in refused.stdout)
    as_json = lamproom("check", file, "--json", "--try", "layout/accessory/61/ordered", "reverse")
    assert ([], True) == (json.loads(as_json.stdout), "S1" in as_json.stderr)
