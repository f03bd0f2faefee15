"""The command that says what is installed."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from bridge.cli.shared import FAILED, OK, out, print_json


def adapters(
    as_json: Annotated[bool, typer.Option("--json", help="Print them as JSON, for another program.")] = False,
) -> None:
    """List the kinds of event sources and frame outputs, where each comes from, and its keys in the layout file."""
    from bridge.service.plugins import Adapters  # noqa: PLC0415 - see the head of the package

    found = Adapters().installed()
    if as_json:
        print_json([asdict(each) for each in found])
    else:
        for each in found:
            for line in each.lines():
                out(line)
    raise typer.Exit(FAILED if any(each.fault for each in found) else OK)
