"""Instants and events in the words of the people who run the layout."""

from __future__ import annotations

from typing import Final

from bridge.events import (
    MILLISECOND,
    AccessoryOrdered,
    AccessoryProved,
    AccessoryReleased,
    AspectOrdered,
    Authority,
    BlockReported,
    ButtonReported,
    ClockReported,
    Event,
    Instant,
    LampTestAsked,
    LampTestConfirmed,
    LampTestEnded,
    LinkState,
    NodeReported,
    PowerReported,
    RouteKept,
    SourceReported,
    UseReported,
)

_HEARD: Final = {LinkState.UP: "can be heard", LinkState.LOST: "cannot be heard any more"}


def instant_text(at: Instant) -> str:
    """Return the time since the session began as `h:mm:ss.mmm`, cut to a millisecond."""
    seconds, rest = divmod(at // MILLISECOND, 1000)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    return f"{hour}:{minute:02}:{second:02}.{rest:03}"


def event_text(event: Event) -> str:
    """Return one event as half a sentence, such as `accessory 61 was ordered reverse (by bus)`."""
    if isinstance(event, SourceReported):
        return f"the source {event.source} {_HEARD[event.state]}"
    if isinstance(event, NodeReported):
        return f"the node {event.node} {_HEARD[event.state]}"
    if isinstance(event, RouteKept):
        return f"the route {event.route} of {event.signal} was locked before the restart"
    if isinstance(event, LampTestAsked | LampTestConfirmed | LampTestEnded):
        return f"{_of_test(event)} (by {event.source})"
    copy = " in a kept copy" if getattr(event, "authority", None) is Authority.STATE else ""
    return f"{_said(event)}{copy} (by {event.source})"


def _clock(event: ClockReported) -> str:
    said = []
    if event.seconds is not None:
        minutes, second = divmod(event.seconds, 60)
        said.append(f"{minutes // 60}:{minutes % 60:02}:{second:02}")
    elif event.rate_quarters is not None:
        said.append(f"a rate of {event.rate_quarters / 4:g}")
    if event.running is not None:
        said.append("running" if event.running else "stopped")
    return ", ".join(said)


def short_text(event: Event) -> str:
    """Return one event in as few words as tell it from others of its kind: `61 reverse`."""
    match event:
        case AccessoryOrdered() | AccessoryProved():
            proved = "proved " if isinstance(event, AccessoryProved) else ""
            return f"{event.number} {proved}{event.position.value}"
        case AccessoryReleased():
            return f"{event.number} let go"
        case AspectOrdered():
            return f"{event.number} aspect {event.aspect}"
        case BlockReported() | ButtonReported():
            return f"{event.name} {event.state.value}"
        case PowerReported():
            return f"power {event.district} {event.state.value}"
        case SourceReported():
            return event.state.value
        case ClockReported():
            return f"clock {_clock(event)}"
        case NodeReported():
            return f"{event.node} {event.state.value}"
    return event_text(event).partition(" (by ")[0]


def _said(event: Event) -> str:
    match event:
        case AccessoryOrdered():
            return f"accessory {event.number} was ordered {event.position.value}"
        case AccessoryReleased():
            return f"accessory {event.number} was let go"
        case AccessoryProved():
            return f"accessory {event.number} was proved {event.position.value}"
        case AspectOrdered():
            return f"extended accessory {event.number} was ordered aspect {event.aspect}"
        case BlockReported():
            return f"block {event.name} was reported {event.state.value}"
        case PowerReported():
            return f"power of {event.district} was reported {event.state.value}"
        case ButtonReported():
            return f"button {event.name} was {event.state.value}"
        case ClockReported():
            return f"the model clock was set to {_clock(event)}"
        case UseReported():
            why = f" ({event.why})" if event.why else ""
            return f"{event.subject.value} {event.name} was {'taken out of' if event.out else 'put back into'} use{why}"
    return type(event).__name__


def _of_test(event: LampTestAsked | LampTestConfirmed | LampTestEnded) -> str:
    match event:
        case LampTestAsked():
            return f"a lamp test of {event.area} was asked for, {event.way.value}"
        case LampTestConfirmed():
            return f"the lamp test {event.mark} was confirmed for {event.chain}"
        case _:
            which = f"the lamp test {event.mark}" if event.mark else "any lamp test"
            return f"{which} was ended{f' on {event.chain}' if event.chain else ''}"
