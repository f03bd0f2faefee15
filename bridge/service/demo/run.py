"""Run the demo: the broker, the bridge and the pretend layout around it, in one process."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import AsyncExitStack
from pathlib import Path

from bridge.errors import LamproomError
from bridge.service.address import Address
from bridge.service.app import Bridge, MakePage, Settings, stop_signal
from bridge.service.demo.broker import EmbeddedBroker
from bridge.service.demo.world import DemoWorld
from bridge.service.files import look_at_text
from bridge.service.plugins import Adapters
from bridge.service.shipped import DEMO, shipped_layout


async def run_demo(
    page: Address | None,
    state: Path | None,
    adapters: Adapters,
    *,
    make_page: MakePage,
    ready: Callable[[str | None, str, Path], None],
) -> None:
    """Run the demo until SIGINT or SIGTERM; `ready` is told the page's address, the broker's, and the session log.

    Without a state directory of its own it keeps nothing: a demo leaves a machine as it was.

    Raises:
        LamproomError: something that it needs is missing, or the page cannot be opened.
    """
    stopped = stop_signal()  # before anything is said: whoever reads it may end us at once
    looked = look_at_text(DEMO, shipped_layout(DEMO).encode(), adapters)
    if looked.layout is None:
        raise LamproomError("\n".join(["the demo's own layout has errors:", *looked.lines()]))
    async with AsyncExitStack() as stack:
        if state is None:
            state = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="lamproom-demo-")))
        broker = EmbeddedBroker()
        port = await broker.start()
        stack.push_async_callback(broker.stop)
        place = Address("127.0.0.1", port)
        # The bridge goes first, while the nodes are still there to show its last frames.
        world = DemoWorld(looked.layout, port, notes=_untold)
        stack.push_async_callback(world.stop)
        bridge = Bridge(Settings(looked, looked.layout, place, state, page, name="demo"), adapters)
        stack.push_async_callback(bridge.stop)
        await bridge.start(make_page)
        await world.start()
        ready(bridge.page, str(place), bridge.log)
        await stopped.wait()


def _untold(text: str, level: str, **facts: object) -> None:
    """Keep to ourselves what happens to the links of the pretend nodes: the bridge tells of its own."""
    del text, level, facts
