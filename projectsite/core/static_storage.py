"""Collected static files: named by content and compressed once."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from whitenoise.compress import Compressor
from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # untyped upstream
    """Compress with gzip only.

    Brotli at its highest level made the first start half a minute longer for files that a
    browser loads once and keeps.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._addresses: dict[str, str] = {}

    def url(self, name: str | None, force: bool = False) -> str:  # noqa: FBT001, FBT002  # upstream's signature
        """Give the address of a file; it is worked out once, for every page asks for several."""
        if name is None or force or settings.DEBUG:
            return str(super().url(name, force))
        if name not in self._addresses:
            self._addresses[name] = str(super().url(name))
        return self._addresses[name]

    def save_manifest(self) -> None:
        """Write down what was collected; the addresses may be others from now on."""
        super().save_manifest()
        self._addresses.clear()

    def create_compressor(self, **kwargs: Any) -> Compressor:
        """Give the compressor for collected files."""
        return Compressor(use_brotli=False, **kwargs)
