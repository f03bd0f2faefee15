"""The command that says something to a layout that runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bridge.cli.shared import err, out
from bridge.errors import LamproomError


def send(  # noqa: PLR0913, PLR0917 - each option is an argument
    kind: Annotated[str, typer.Argument(metavar="KIND", hidden=True)],
    words: Annotated[list[str], typer.Argument(metavar="WORDS", hidden=True)],
    broker: Annotated[
        str,
        typer.Option(metavar="ADDRESS", help="The MQTT broker: HOST, HOST:PORT or a port of this machine."),
    ] = "127.0.0.1:1883",
    user: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who you are there, if the broker wants to know.")
    ] = None,
    password_file: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The file that holds the password of that user.")
    ] = None,
    root: Annotated[
        str, typer.Option(metavar="TOPIC", help="The topic below which the layout listens.")
    ] = "layout",
    proved: Annotated[
        bool, typer.Option("--proved", help="Say where an accessory was seen to be, instead of ordering it.")
    ] = False,
    retain: Annotated[
        bool, typer.Option("--retain", help="Let the broker keep a copy for those who come later.")
    ] = False,
) -> None:
    """Send one order or report by hand: KIND says what it is about, WORDS which one and what of it.

    \b
    accessory 61 reverse      normal, reverse, closed, thrown or released
    aspect 12 5               a signal by its number, and the number of an aspect
    block tarn-2 occupied     occupied, clear or unknown
    power yard off            on, off or shorted
    button platform pressed   pressed or released
    clock 16:30 6             time of day, and its rate or stopped
    use signal T4 out         out (with a reason, if you like), absent or in-use
    """  # noqa: D301 - the mark keeps the lines apart, and is meant to be one character
    from bridge.service.address import Address, read_password  # noqa: PLC0415 - see the head of the package
    from bridge.service.send import fact_message, kept_in_vain, send_fact  # noqa: PLC0415

    if (user is None) != (password_file is None):
        raise LamproomError("--user and --password-file go together: give both, or neither")
    topic, payload = fact_message(kind, words, root=root, proved=proved)
    place = Address.parse(broker, 1883)
    if user is not None and password_file is not None:
        place = Address(place.host, place.port, user, read_password(password_file))
    if retain and kept_in_vain(kind) and not proved:
        err("lamproom: a kept order is no command: signals obey it now, and never the copy that is kept")
    send_fact(place, topic, payload, retain=retain)
    out(f"sent {payload} on {topic}")
