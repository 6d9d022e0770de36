"""Logs to the error stream: lines for people, or a JSON object a line."""

from __future__ import annotations

import json
import logging
import os
import sys
from datetime import UTC, datetime
from typing import Any

VARIABLE = "COLDLEDGER_LOG"
_PLAIN = set(vars(logging.makeLogRecord({}))) | {"message", "asctime", "color_message", "taskName"}


class JsonLines(logging.Formatter):
    """at, level, from, message, and whatever a record was given beside them."""

    def format(self, record: logging.LogRecord) -> str:
        row: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "from": record.name,
            "message": record.getMessage(),
        }
        row.update({k: v for k, v in vars(record).items() if k not in _PLAIN})
        if record.exc_info:
            row["trace"] = self.formatException(record.exc_info)
        return json.dumps(row, ensure_ascii=False, default=str)


def start(kind: str | None = None) -> None:
    """Log in this process as `kind` says (text or json), else as COLDLEDGER_LOG does."""
    handler = logging.StreamHandler(sys.stderr)
    if (kind or os.environ.get(VARIABLE)) == "json":
        handler.setFormatter(JsonLines())
    else:
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.INFO)
    for noisy in ("httpx", "httpcore", "apprise", "asyncio", "aiosqlite", "alembic", "docket"):
        logging.getLogger(noisy).setLevel(logging.WARNING)


def as_line(text: str, name: str, kind: str) -> str:
    """A line that a child wrote, in the form asked for: what is no JSON object becomes one."""
    if kind != "json":
        return text
    if text.startswith("{") and text.endswith("}"):
        return text
    at = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return json.dumps({"at": at, "level": "info", "from": name, "message": text}, ensure_ascii=False)
