"""HTML to PDF: one part of a document at a time, tagged, with our fonts and nothing else."""

from __future__ import annotations

import gc
import logging
from functools import cache
from typing import Any

from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration

from reports.pdf import assets

# The library reports every rule that it leaves out; what matters is raised instead.
logging.getLogger("weasyprint").setLevel(logging.ERROR)


@cache
def _style() -> tuple[CSS, FontConfiguration]:
    """The style sheet, read once a process; its faces are added to the font configuration."""
    fonts = FontConfiguration()
    css = CSS(
        string=assets.content("reports/document.css").decode(),
        base_url="asset:reports/document.css",
        font_config=fonts,
        url_fetcher=assets.AssetFetcher(),
    )
    return css, fonts


def prepare() -> None:
    """Get a rendering process ready: what is loaded now never needs to be collected."""
    _style()
    gc.collect()
    gc.freeze()
    gc.disable()


def write(html: str, *, is_tagged: bool = True) -> bytes:
    """Render one HTML document, tagged for reading aloud unless it is only decoration.

    Raises
    ------
    RefusedAddress, MissingAsset
        The document asked for something foreign, or an asset of ours is gone.
    """
    css, fonts = _style()
    fetcher = assets.AssetFetcher()
    document: Any = HTML(string=html, base_url="asset:", url_fetcher=fetcher).render(
        stylesheets=[css], font_config=fonts, pdf_tags=is_tagged
    )
    # Faces are cut to the glyphs in use: a whole face has no text for its table figures.
    written: bytes = document.write_pdf(pdf_tags=is_tagged)
    # Inside a picture the library swallows even a refusal.
    if fetcher.refusal is not None:
        raise fetcher.refusal
    return written
