"""What the owner is told of terms and of other bridges."""

from __future__ import annotations

from bridge.service.notes import Notes
from bridge.service.status import Status
from bridge.service.term import ASK_AGAIN, BRIDGE_TOPIC, Term


def tell_of_terms(term: Term, status: Status, notes: Notes) -> None:
    """Have the notes told whatever an owner has to know, each with its remedy."""
    told = _TermNotes(notes)
    term.beyond = told.beyond
    term.yielded = told.yielded
    term.unheard = told.unheard
    status.rival = told.rival


class _TermNotes:
    def __init__(self, notes: Notes) -> None:
        self._notes = notes

    def beyond(self, term: int) -> None:
        self._notes.once(
            f"beyond {term}",
            f"term {term} was heard of, and there is none above it: a node that obeyed it takes no frame of ours until"
            " it has forgotten it; clear what the broker keeps of it and start the node again",
            "error",
        )

    def yielded(self, name: str, term: int) -> None:
        self._notes.say(
            f"another bridge, {name}, has taken over nodes of this layout under the higher term {term}: this one sends"
            " them nothing, and takes them back when that one ends. If it is not meant so, end one of the two, or"
            " give their nodes names of their own; if there is no such bridge any more, clear what the broker keeps"
            f" of it, with an empty retained message on {BRIDGE_TOPIC}{name}",
            "error",
        )

    def unheard(self, topic: str) -> None:
        self._notes.say(
            f"the broker does not hand back what this bridge publishes on {topic}, and before that no frame goes out:"
            " its access rules must allow this bridge to publish and to read that topic; it is asked again every"
            f" {ASK_AGAIN:g} s",
            "error",
        )

    def rival(self, name: str) -> None:
        self._notes.once(
            "rival",
            f"another bridge named {name} is on this broker, which throws out one for the other, and the nodes obey"
            " the one that started last: end one of them, or give one of them another --name",
            "error",
        )
