"""The log on standard error: one entry a line, for people or as JSON, each with its request's id.

The code logs by Python's own ``logging``, facts as ``extra``; this module alone knows how that is
written. Values are quoted, so that no path or header forges a line.
"""

from __future__ import annotations

import logging
import logging.config
from typing import Any

import structlog
from structlog.types import EventDict, Processor


def configure(log_format: str) -> None:
    """Send the logs of the service and of its server to standard error, ``text`` or ``json``."""
    last: Processor = structlog.processors.JSONRenderer()
    if log_format == "text":
        last = _line
    formatter = {
        "()": structlog.stdlib.ProcessorFormatter,
        "foreign_pre_chain": [
            structlog.contextvars.merge_contextvars,
            structlog.stdlib.add_log_level,
            structlog.stdlib.add_logger_name,
            structlog.stdlib.ExtraAdder(),
            structlog.processors.TimeStamper(fmt="iso", utc=True),
        ],
        "processors": [
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            structlog.processors.format_exc_info,
            last,
        ],
    }
    handler = {
        "class": "logging.StreamHandler",
        "formatter": "entry",
        "stream": "ext://sys.stderr",
    }
    own = {"handlers": ["stderr"], "level": "INFO", "propagate": False}
    logging.config.dictConfig(
        {
            "version": 1,
            "disable_existing_loggers": False,
            "formatters": {"entry": formatter},
            "handlers": {"stderr": handler},
            "loggers": {"warmbranch": own, "uvicorn": {**own, "level": "WARNING"}},
        }
    )


def _line(_: Any, __: str, entry: EventDict) -> str:
    """Time, level, what happened, then the facts; a traceback below, where there is one."""
    trace = entry.pop("exception", None)
    entry.pop("logger", None)
    lead = f"{entry.pop('timestamp')} {entry.pop('level').upper()} {_printable(entry.pop('event'))}"
    facts = "".join(f" {name}={value!r}" for name, value in entry.items())
    return lead + facts + (f"\n{trace}" if trace else "")


def _printable(text: object) -> str:
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in str(text))
