"""The floor of the lists: raw WSGI, psycopg and orjson, one persistent connection a thread.

``PLENUM_FLOOR`` holds JSON: the connection, the query with its values, and column names.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Iterable
from typing import Any

import orjson
import psycopg

_GIVEN = json.loads(os.environ["PLENUM_FLOOR"])
_LOCAL = threading.local()


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Answer with the rows as JSON."""
    del environ
    connection = getattr(_LOCAL, "connection", None)
    if connection is None:
        connection = psycopg.connect(_GIVEN["conninfo"], autocommit=True)
        _LOCAL.connection = connection
    rows = connection.execute(_GIVEN["sql"], _GIVEN["values"]).fetchall()
    names = _GIVEN["names"]
    body = orjson.dumps([dict(zip(names, row, strict=True)) for row in rows])
    start_response(
        "200 OK",
        [("Content-Type", "application/json"), ("Content-Length", str(len(body)))],
    )
    return [body]
