"""JSON by orjson: lists come as plain values and leave as bytes without a detour."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson
from rest_framework.renderers import BaseRenderer


class OrjsonRenderer(BaseRenderer):
    """Render plain values, dates, UUIDs and dataclasses as JSON."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        """Give the response body."""
        del accepted_media_type, renderer_context
        return b"" if data is None else orjson.dumps(data, default=str, option=orjson.OPT_UTC_Z)
