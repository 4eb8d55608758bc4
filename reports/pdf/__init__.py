"""Dossier to PDF. The only package that knows WeasyPrint, pikepdf and segno.

Nothing here runs in a web process, and the job worker itself loads none of the three: it
plans the parts, has child processes render and bind them, and takes the file.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from reports.domain.codec import encode
from reports.domain.dossier import Dossier
from reports.pdf.pool import Ask, RenderingFailed, Stopped

__all__ = ["Rendered", "RenderingFailed", "Stopped", "render"]


WIDE = {"point-list", "punch-list", "floor-plan"}
"""Kinds of document on paper laid across."""


@dataclass(slots=True)
class Rendered:
    """A finished document: its bytes, pages, and what it took."""

    content: bytes
    pages: int
    fresh_parts: int = 0
    peak_kb: list[int] = field(default_factory=list)


def default_processes() -> int:
    """Two at most, so that a site of two cores still serves its pages."""
    return max(1, min(2, os.cpu_count() or 1))


def render(
    dossier: Dossier,
    *,
    keep_in: Path,
    processes: int = 0,
    on_progress: Callable[[int, int], None] = lambda _done, _total: None,
    should_stop: Callable[[], bool] = lambda: False,
) -> Rendered:
    """Render a document from its dossier.

    Parameters
    ----------
    keep_in
        Folder for unit sheets that the next document can use again.
    processes
        Rendering processes; 0 takes as many as suit the machine, two at most.
    on_progress
        Told the parts done and the parts in all, now and then.
    should_stop
        Asked now and then; when it says yes, the processes are killed.

    Raises
    ------
    RenderingFailed
        With a message for the person who asked for the document.
    Stopped
        ``should_stop`` said yes.
    """
    from reports.pdf import plan, pool  # noqa: PLC0415  # the templates load only where needed

    with tempfile.TemporaryDirectory(prefix="document-") as name:
        folder = Path(name)
        parts = plan.parts(dossier, folder, keep_in)
        fresh = [part for part in parts if part.ask is not None]
        total = len(parts) + 1
        done = len(parts) - len(fresh)
        result = Rendered(b"", 0, len(fresh))
        on_progress(done, total)

        def count(answer: Ask) -> None:
            nonlocal done
            done += 1
            result.peak_kb.append(answer["peak_kb"])
            result.pages = answer.get("pages", 0)
            on_progress(done, total)

        asks = [part.ask for part in fresh if part.ask is not None]
        stored = folder / "dossier.json"
        stored.write_text(json.dumps(encode(dossier)))
        out = folder / "whole.pdf"
        bind: Ask = {
            "bind": str(stored),
            "parts": [(part.title, str(part.file), part.group) for part in parts],
            "out": str(out),
            "is_wide": dossier.frame.kind in WIDE,
        }
        with pool.Pool(min(processes or default_processes(), len(asks))) as rendering:
            for asked in (asks, [bind]):
                rendering.run(asked, on_answer=count, should_stop=should_stop)
        result.content = out.read_bytes()
        return result
