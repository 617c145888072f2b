"""Structured logs: one line an event, stable event names, fields as key=value; no payloads, no secrets.

A repeated line is held back for a minute and then counted, so that a fault that repeats does not fill the disk.
"""

from __future__ import annotations

import json
import logging
import sys
import time
from typing import Any

REPEAT_S = 60.0


class Lines(logging.Formatter):
    """``2027-03-01T06:00:00Z warning service store-busy fault="…"``."""

    def format(self, record: logging.LogRecord) -> str:
        stamp = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created))
        name = record.name.removeprefix("advisor.")
        fields = getattr(record, "fields", {})
        said = " ".join(f"{key}={_value(value)}" for key, value in fields.items())
        line = " ".join(part for part in (stamp, record.levelname.lower(), name, record.getMessage(), said) if part)
        if record.exc_info:
            line += " trace=" + json.dumps(self.formatException(record.exc_info))
        return line


class NotAgain(logging.Filter):
    """Lets a line through once a minute; the next one that passes says how many were held back."""

    def __init__(self) -> None:
        super().__init__()
        self._last: dict[tuple[str, str], tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        if record.levelno < logging.WARNING:
            return True
        key = (record.name, str(record.msg))
        now_s = time.monotonic()
        said_s, held = self._last.get(key, (-REPEAT_S, 0))
        if now_s - said_s < REPEAT_S:
            self._last[key] = (said_s, held + 1)
            return False
        self._last[key] = (now_s, 0)
        if held:
            record.fields = {**getattr(record, "fields", {}), "held_back": held}
        return True


def set_up(level: str = "info") -> None:
    """Lines on standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(Lines())
    handler.addFilter(NotAgain())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    logging.getLogger("apscheduler").setLevel(logging.WARNING)


class Logger:
    """Events with fields."""

    def __init__(self, name: str) -> None:
        self._logger = logging.getLogger(f"advisor.{name}")

    def info(self, event: str, **fields: Any) -> None:
        self._logger.info(event, extra={"fields": fields})

    def warning(self, event: str, **fields: Any) -> None:
        self._logger.warning(event, extra={"fields": fields})

    def error(self, event: str, **fields: Any) -> None:
        self._logger.error(event, extra={"fields": fields})

    def failure(self, event: str, error: Exception, **fields: Any) -> None:
        """An error with where it came from."""
        self._logger.error(event, exc_info=error, extra={"fields": {"error": str(error), **fields}})


def logger(name: str) -> Logger:
    return Logger(name)


def _value(value: object) -> str:
    text = str(value)
    return json.dumps(text, ensure_ascii=False) if not text or any(c in text for c in ' "=\n') else text
