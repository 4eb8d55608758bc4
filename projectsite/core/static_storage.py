"""Collected static files: named by content and compressed once."""

from __future__ import annotations

from typing import Any

from whitenoise.compress import Compressor
from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # untyped upstream
    """Compress with gzip only.

    Brotli at its highest level made the first start half a minute longer for files that a
    browser loads once and keeps.
    """

    def create_compressor(self, **kwargs: Any) -> Compressor:
        """Give the compressor for collected files."""
        return Compressor(use_brotli=False, **kwargs)
