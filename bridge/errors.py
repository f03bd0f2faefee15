"""What can go wrong, sorted by who has to mend it."""

from __future__ import annotations


class LamproomError(Exception):
    """Any error that lamproom raises on purpose."""


class LayoutError(LamproomError):
    """The owner's layout file cannot be used; `check` says where and why.

    Attributes:
        findings: what was found, as `bridge.layout.findings.Finding`, in the order of the file.
    """

    def __init__(self, message: str, findings: tuple[object, ...] = ()) -> None:
        super().__init__(message)
        self.findings = findings


class DecodeError(LamproomError):
    """Something came in that means nothing here. It is noted once, counted, and changes nothing.

    Attributes:
        received: what came in, cut to a length that a person can read.
        expected: what would have been understood.
    """

    def __init__(self, message: str, *, received: str = "", expected: str = "") -> None:
        super().__init__(message)
        self.received = received
        self.expected = expected


class LinkError(LamproomError):
    """A connection failed or was refused; it is tried again.

    Attributes:
        peer: who was to be reached, as `host:port`.
    """

    def __init__(self, message: str, *, peer: str = "") -> None:
        super().__init__(message)
        self.peer = peer


class EngineError(LamproomError):
    """A step that must not happen: a fault of lamproom itself. The engine stays as it was before the step."""
