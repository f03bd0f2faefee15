"""Why a device showed what it showed: the chain of causes in a recorded session, and what was missing."""

from bridge.record.why.answer import Answer
from bridge.record.why.asking import why
from bridge.record.why.text import answer_lines

__all__ = ["Answer", "answer_lines", "why"]
