"""The commands about recorded sessions."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bridge.cli.shared import FAILED, OK, UNREADABLE, look, out, print_json, say_findings


def replay(
    log: Annotated[str, typer.Argument(metavar="LOG", hidden=True)],
    layout: Annotated[
        str | None,
        typer.Option("--layout", metavar="FILE", help="Another layout file than the one kept in the log."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the result as JSON, for another program.")
    ] = False,
) -> None:
    """Play the session log LOG again and compare every frame, byte for byte."""
    from bridge.record.replay import replay as replay_log  # noqa: PLC0415 - see the head of the package
    from bridge.record.replay import report_lines  # noqa: PLC0415

    text = None
    if layout is not None:
        looked = look(layout)
        say_findings(looked)
        if looked.layout is None:
            raise typer.Exit(UNREADABLE)
        text = looked.text
    result = replay_log(Path(log), text)
    if as_json:
        print_json(result.to_data())
    else:
        for line in report_lines(result):
            out(line)
    raise typer.Exit(OK if result.same and result.whole else FAILED)
