"""Short ways to say what happens to a lamp test, on the layout of `tests.support.driving`."""

from __future__ import annotations

from collections.abc import Iterable

from bridge.commands import Command, Told
from bridge.engine import Engine
from bridge.events import LampTestAsked, LampTestConfirmed, LampTestEnded, LampTestWay

THROAT, YARD, STREET = "east/throat", "east/yard", "west/street"


def ask(
    way: str,
    area: str,
    at: int = 0,
    seconds: int = 0,
    *,
    mark: str = "m1",
    picture: str = "",
    source: str = "panel",
) -> LampTestAsked:
    """Return a wish."""
    return LampTestAsked(
        at=at,
        source=source,
        way=LampTestWay(way),
        area=area,
        seconds=seconds,
        picture=picture,
        mark=mark,
    )


def confirm(chain: str, at: int = 0, mark: str = "m1") -> LampTestConfirmed:
    """Return a confirmation."""
    return LampTestConfirmed(at=at, source="panel", chain=chain, mark=mark)


def end(mark: str = "", at: int = 0, chain: str = "") -> LampTestEnded:
    """Return an end of a test, or of its part on one chain."""
    return LampTestEnded(at=at, source="panel", mark=mark, chain=chain)


def told(commands: Iterable[Command]) -> list[tuple[str, str]]:
    """Return state and reason of what was told of lamp tests; what was refused as `refused` and why."""
    found = []
    for command in commands:
        if isinstance(command, Told) and command.subject == "lamp-test":
            refused = dict(command.more).get("refused")
            found.append((command.state, command.reason) if refused is None else ("refused", str(refused)))
    return found


def shown(engine: Engine) -> dict[str, bytes]:
    """Return what each chain was given last."""
    keys = [chain.key for chain in engine.layout.chains]
    return dict(zip(keys, engine.present_frames(), strict=True))
