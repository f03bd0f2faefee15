"""Set up the log of the service: one line an event, plain words first, facts behind."""

from __future__ import annotations

import logging
import os
import sys

import structlog


def set_up_logs(level: str = "info") -> None:
    """Send structlog to standard error, where a service manager or a terminal picks it up.

    Under systemd the journal adds the time by itself.
    """
    stamps: list[structlog.typing.Processor] = []
    if "JOURNAL_STREAM" not in os.environ:
        stamps.append(structlog.processors.TimeStamper(fmt="%H:%M:%S", utc=False))
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            *stamps,
            structlog.processors.format_exc_info,
            structlog.dev.ConsoleRenderer(
                colors=sys.stderr.isatty(),
                pad_event_to=0,
                sort_keys=False,
                exception_formatter=structlog.dev.plain_traceback,
            ),
        ],
        wrapper_class=structlog.make_filtering_bound_logger(logging.getLevelNamesMapping()[level.upper()]),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
