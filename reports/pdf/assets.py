"""The only things that a document may fetch: our own static files, by name."""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path

from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

_ROOT = Path(__file__).resolve().parent.parent.parent
_SCHEME = "asset:"
_PICTURE = "data:image/png;base64,"
_FACES = (
    "archivo-400",
    "archivo-600",
    "archivo-700",
    "archivo-narrow-400",
    "archivo-narrow-600",
    "sheet-symbols",
)
ASSETS = {
    "reports/document.css": ("reports/static/reports/document.css", "text/css"),
    **{
        f"ui/fonts/{face}.woff2": (
            f"projectsite/ui/static/ui/fonts/{face}.woff2",
            "font/woff2",
        )
        for face in _FACES
    },
}
"""Every asset by its name after ``asset:``, with the file that holds it and its type."""


class RefusedAddress(FatalURLFetchingError):  # type: ignore[misc]  # the library ships no types
    """A document asked for something that is not an asset of ours; nothing was fetched."""


class MissingAsset(FatalURLFetchingError):  # type: ignore[misc]  # the library ships no types
    """An asset of ours is not there: the program is not installed whole."""


@cache
def content(name: str) -> bytes:
    """Read an asset; MissingAsset when the file is gone, RefusedAddress when not listed."""
    if name not in ASSETS:
        raise RefusedAddress(f"A document may not fetch asset:{name[:120]}.")
    path = _ROOT / ASSETS[name][0]
    try:
        return path.read_bytes()
    except OSError as error:
        raise MissingAsset(f"The asset {name} is missing; install the program again.") from error


def _picture(url: str) -> bytes:
    """Decode a picture that the document holds itself."""
    try:
        held = base64.b64decode(url.removeprefix(_PICTURE), validate=True)
    except ValueError as error:
        raise RefusedAddress("A picture in the document is damaged.") from error
    if not held.startswith(b"\x89PNG\r\n\x1a\n"):
        raise RefusedAddress("A picture in the document is not what it says.")
    return held


class AssetFetcher(URLFetcher):  # type: ignore[misc]  # the library ships no types
    """Serves ``asset:`` names and pictures that the document holds; refuses all else, loudly.

    A refusal ends the rendering (``FatalURLFetchingError``): a book with holes that only the
    log knows of must not be issued. No handler of the base class is ever reached, so there
    is no redirect, no file and no network.
    """

    def __init__(self) -> None:
        super().__init__(allowed_protocols=(), allow_redirects=False, fail_on_errors=True)
        self.refusal: RefusedAddress | MissingAsset | None = None

    def fetch(self, url: str, headers: object = None) -> URLFetcherResponse:
        """Give an asset."""
        del headers
        try:
            if url.startswith(_PICTURE):
                return URLFetcherResponse(url, _picture(url), {"Content-Type": "image/png"})
            if not url.startswith(_SCHEME):
                raise RefusedAddress(f"A document may not fetch {url[:120]}.")  # noqa: TRY301  # noted below
            name = url.removeprefix(_SCHEME)
            held = content(name)
        except (RefusedAddress, MissingAsset) as error:
            self.refusal = self.refusal or error
            raise
        return URLFetcherResponse(url, held, {"Content-Type": ASSETS[name][1]})
