"""Push buttons on the pins of the board that lamproom runs on, through `gpiozero`."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from importlib.metadata import entry_points
from typing import Annotated, Any, ClassVar, Final, Literal, cast

from pydantic import BeforeValidator, Field

from adapters.contract import ChainPlace, Claim, Fault, Options, Raw, SourceHost
from adapters.cut import cut
from adapters.events.spans import span
from bridge.errors import DecodeError, LinkError
from bridge.events import Authority, ButtonReported, ButtonState, Event, Instant, LinkState

FACTORIES: Final = "gpiozero_pin_factories"
"""The entry points by which `gpiozero` knows its ways to the pins."""

USUAL: Final = ("lgpio", "rpigpio")
"""The ways that are tried where the layout file names none, in this order."""

GPIOS: Final = range(64)
MOST_BUTTONS: Final = 64

HIGH: Final = b"high"
LOW: Final = b"low"

Pull = Literal["up", "down", "none"]
Level = Literal["low", "high"]


def _gpio(value: Any) -> int:
    if type(value) is not int or value not in GPIOS:
        raise ValueError(
            f"{cut(str(value), 30)} is no GPIO: write its number as the board's maker does, such as 17 for GPIO17"
        )
    return value


def _one_of(*allowed: str) -> BeforeValidator:
    def read(value: Any) -> str:
        if value not in allowed:
            raise ValueError(
                f"{cut(str(value), 30)!r} does not fit: write {', '.join(allowed[:-1])} or {allowed[-1]}"
            )
        return str(value)

    return BeforeValidator(read)


_Pull = Annotated[Pull, _one_of("up", "down", "none")]
_Level = Annotated[Level, _one_of("low", "high")]
_Debounce = Annotated[float, span("a debounce", "1 ms", "1 s")]


class ButtonOptions(Options):
    """The keys of one button; what is left out is that of the source.

    Attributes:
        pin: the number of its GPIO.
        pull: which way its pin is pulled while nothing else does.
        active: the level that the pin has while the button is pressed.
        debounce: how long the pin has to stand before that counts, in seconds.
    """

    pin: Annotated[int, BeforeValidator(_gpio)]
    pull: _Pull | None = None
    active: _Level | None = None
    debounce: _Debounce | None = None


def _button(value: Any) -> Any:
    return {"pin": value} if type(value) is int else value


class PinsOptions(Options):
    """The keys of a source of buttons in the layout file.

    Attributes:
        buttons: for each button, by its name, its pin or its keys.
        factory: the way to the pins, as `gpiozero` calls it.
        pull: which way the pins are pulled.
        active: the level of a pin while its button is pressed; the other one than it is pulled to, if left out.
        debounce: how long a pin has to stand before that counts, in seconds.
    """

    buttons: Annotated[
        dict[str, Annotated[ButtonOptions, BeforeValidator(_button)]],
        Field(min_length=1, max_length=MOST_BUTTONS),
    ]
    factory: str | None = None
    pull: _Pull = "up"
    active: _Level | None = None
    debounce: Annotated[_Debounce, Field(examples=["20 ms"])] = 0.02

    def faults(self, places: tuple[ChainPlace, ...]) -> tuple[Fault, ...]:  # noqa: ARG002 - it has no chains
        """Return which buttons do not say at which level they are pressed."""
        return tuple(
            Fault(
                ("buttons", name),
                f"the pin of {name} is pulled nowhere, so say by `active` whether it is low or high while pressed",
            )
            for name, button in self.buttons.items()
            if (button.pull or self.pull) == "none" and (button.active or self.active) is None
        )

    def claims(self, places: tuple[ChainPlace, ...]) -> tuple[Claim, ...]:  # noqa: ARG002 - it has no chains
        """Return the pin of each button."""
        return tuple(
            Claim("of this board", "GPIO", button.pin, button.pin, f"the button {name}", ("buttons", name))
            for name, button in self.buttons.items()
        )


@dataclass(slots=True)
class _Button:
    """One button while the source listens, or what it is before.

    Attributes:
        name: as the layout file has it.
        pin: the number of its GPIO.
        pull: which way its pin is pulled.
        active: the payload that says that it is pressed.
        debounce: seconds for which its pin has to stand.
        device: what reads the pin.
        edge: the pin has changed; set from the loop alone.
        told: the level that was handed in last.
    """

    name: str
    pin: int
    pull: Pull
    active: bytes
    debounce: float
    device: Any = None
    edge: asyncio.Event = field(default_factory=asyncio.Event)
    told: bytes = b""

    @property
    def channel(self) -> str:
        """How its input is called."""
        return f"GPIO{self.pin}"

    @property
    def level(self) -> bytes:
        """The present level of its pin."""
        # `gpiozero` tells whether the pin is active, which it takes a pin that is pulled up to be while it is low.
        return HIGH if bool(self.device.value) is not (self.pull == "up") else LOW


class BoardPins:
    """An event source: each change of a pin that stands is a button that was pressed or released.

    A spike that is shorter than the time of debounce is none: long wires beside a track catch many. So a press counts
    when the pin has stood, and not with its first edge. How a button stands when this begins is told as a copy: it
    may have been held all the time, and that is no press.
    """

    options: ClassVar[type[Options]] = PinsOptions

    def __init__(self, name: str, options: Options, host: SourceHost) -> None:
        """Make a source that does nothing yet.

        Args:
            name: the source's name in the layout file; its events carry it.
            options: a `PinsOptions`.
            host: what the bridge offers.
        """
        said = cast("PinsOptions", options)
        self.name = name
        self._host = host
        self._wanted = said.factory
        self._buttons = {made.channel: made for made in (_made(said, *each) for each in said.buttons.items())}
        self._factory: Any = None

    def attempt(self, channel: str, payload: str) -> tuple[Raw, ...]:
        """Return a change of a pin, such as `GPIO17` `low`, and how it stands at the start."""
        data = payload.encode()
        return (Raw(channel, data), Raw(channel, data, retained=True)) if channel in self._buttons else ()

    async def listen(self) -> None:
        """Open the pins and hand in how each stands, and then each change, until it is cancelled.

        Raises:
            LinkError: `gpiozero` or its way to the pins is missing, or a pin cannot be read.
        """
        loop = asyncio.get_running_loop()
        # To load the library takes longer than the lights may wait; whatever comes meanwhile, the pins are closed.
        opening = asyncio.ensure_future(asyncio.to_thread(self._open, loop))
        try:
            await asyncio.shield(opening)
            self._host.link(LinkState.UP, f"the pins of this board are read ({', '.join(self._buttons)})")
            for button in self._buttons.values():
                self._tell(button, retained=True)
            async with asyncio.TaskGroup() as group:
                for button in self._buttons.values():
                    group.create_task(self._watch(button), name=f"button {button.name}")
        finally:
            with contextlib.suppress(Exception, asyncio.CancelledError):
                await opening
            self._close()

    def _open(self, loop: asyncio.AbstractEventLoop) -> None:
        """Open all pins; runs in a thread of its own, as do the callbacks of the pins."""
        try:
            devices = import_module("gpiozero")
        except ImportError:
            raise LinkError(
                "the library gpiozero is missing: install it by `pip install 'lamproom[pins]'`"
            ) from None
        self._factory = _factory(self._wanted)
        for button in self._buttons.values():
            pulled = {"up": True, "down": False, "none": None}[button.pull]
            try:
                button.device = devices.DigitalInputDevice(
                    button.pin,
                    pull_up=pulled,
                    active_state=True if pulled is None else None,
                    pin_factory=self._factory,
                )
                button.device.when_activated = button.device.when_deactivated = _noticing(button, loop)
            except Exception as problem:
                raise LinkError(
                    f"GPIO {button.pin} cannot be read for the button {button.name} ({cut(str(problem), 80)}): see"
                    " that the board has it, that nothing else uses it, and that this user may (the group `gpio`)"
                ) from problem

    def _close(self) -> None:
        for button in self._buttons.values():
            if button.device is not None:
                button.device.close()
            button.device, button.told = None, b""
            button.edge.clear()
        if self._factory is not None:
            self._factory.close()
            self._factory = None

    async def _watch(self, button: _Button) -> None:
        while True:
            await button.edge.wait()
            while button.edge.is_set():
                button.edge.clear()
                await self._host.sleep(button.debounce)
            if button.level != button.told:
                self._tell(button)

    def _tell(self, button: _Button, *, retained: bool = False) -> None:
        button.told = button.level
        self._host.received(Raw(button.channel, button.told, retained))

    def decode(self, raw: Raw, at: Instant) -> tuple[Event, ...]:
        """Return the one event that a level of a pin means, stamped `at`.

        Raises:
            DecodeError: it is no level, or of another pin.
        """
        received = f"{cut(raw.channel, 60)} {cut(raw.payload, 30)}"
        button = self._buttons.get(raw.channel)
        if button is None:
            raise DecodeError(
                "this pin is of no button", received=received, expected=", ".join(self._buttons)
            )
        if raw.payload not in (LOW, HIGH):
            raise DecodeError("this is no level of a pin", received=received, expected="`low` or `high`")
        return (
            ButtonReported(
                at=at,
                source=self.name,
                name=button.name,
                state=ButtonState.PRESSED if raw.payload == button.active else ButtonState.RELEASED,
                authority=Authority.STATE if raw.retained else Authority.COMMAND,
            ),
        )


def _made(said: PinsOptions, name: str, own: ButtonOptions) -> _Button:
    pull = own.pull or said.pull
    active = own.active or said.active or ("low" if pull == "up" else "high")
    return _Button(name, own.pin, pull, active.encode(), own.debounce or said.debounce)


def _noticing(button: _Button, loop: asyncio.AbstractEventLoop) -> Callable[[], None]:
    """Return what a thread of the library calls at each edge: it only wakes the loop, and not more than needed."""

    def notice() -> None:
        if not button.edge.is_set():
            with contextlib.suppress(RuntimeError):  # the loop has ended, and the pins are about to be closed
                loop.call_soon_threadsafe(button.edge.set)

    return notice


def _factory(wanted: str | None) -> Any:
    """Return the way to the pins that is wanted, or else the first of the usual ones that there is."""
    there = {point.name: point for point in entry_points(group=FACTORIES)}
    problems = []
    for name in USUAL if wanted is None else (wanted,):
        if name not in there:
            raise LinkError(
                f"gpiozero has no way to the pins called {cut(name, 30)!r}: write {', '.join(there)}"
            )
        try:
            return there[name].load()()
        except Exception as problem:  # noqa: BLE001 - whatever it is, it is no way to the pins
            problems.append(f"{name}: {cut(str(problem) or type(problem).__name__, 80)}")
    raise LinkError(
        f"the pins of this machine cannot be reached ({'; '.join(problems)}): on the board install `python3-lgpio`, or "
        "`pip install lgpio`, or name another `factory`"
    )
