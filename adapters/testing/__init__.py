r"""The contract suite: every promise of `adapters.contract`, checked on our adapters and on anyone's.

It needs pytest and nothing else. A class of yours inherits the checks and says how to make the adapter and the other
end of its bus or wire:

    class TestMyBus(SourceContract[LineServer]):
        @asynccontextmanager
        async def far_end(self, host):
            async with LineServer([b"turnout 61 thrown\n"]) as server:
                yield server

        def source(self, far_end, host):
            return MyBus("bus", MyBusOptions(port=far_end.port), host)

Each check is a test of its own, with a loop of its own, and fails with a sentence that says which promise is broken
and what to do. `adapters/README.md` leads through it.
"""

from adapters.testing.far_ends import BrokerEnd, FarEnd, LineServer
from adapters.testing.hosts import MemoryLink, OutputBench, SourceBench
from adapters.testing.outputs import Controller, OutputContract
from adapters.testing.sources import SourceContract

__all__ = [
    "BrokerEnd",
    "Controller",
    "FarEnd",
    "LineServer",
    "MemoryLink",
    "OutputBench",
    "OutputContract",
    "SourceBench",
    "SourceContract",
]
