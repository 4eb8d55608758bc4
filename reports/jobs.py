"""The job that makes documents."""

from __future__ import annotations

import hashlib
import logging
import time
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from projectsite.core.jobs import job
from reports import operations, pdf
from reports.domain.codec import BrokenDossier
from reports.pdf import kept

log = logging.getLogger(__name__)

NOTE_EVERY_S = 0.5
"""Time between two looks at the row: progress is noted, a stop is noticed."""


class _Watch:
    """Notes progress and notices a stop, at most twice a second."""

    def __init__(self, document_id: int) -> None:
        self.document_id = document_id
        self.done, self.total = 0, 0
        self.is_wanted = True
        self.looked_at = 0.0

    def progress(self, done: int, total: int) -> None:
        """Take the parts done and in all."""
        self.done, self.total = done, total

    def should_stop(self) -> bool:
        """Tell whether the rendering is not wanted any more."""
        now = time.monotonic()
        if now - self.looked_at >= NOTE_EVERY_S or self.done == self.total:
            self.looked_at = now
            self.is_wanted = operations.note_progress(self.document_id, self.done, self.total)
        return not self.is_wanted


@job("reports.render")
def render(document_id: int) -> None:
    """Render a document from its stored dossier and keep file, pages and hash."""
    folder = Path(settings.VAR_DIR) / "sheets"
    try:
        dossier = operations.begin_rendering(document_id)
        if dossier is None:
            return
        watch = _Watch(document_id)
        made = pdf.render(
            dossier,
            keep_in=folder,
            on_progress=watch.progress,
            should_stop=watch.should_stop,
        )
        operations.finish_rendering(
            document_id,
            content=made.content,
            sha256=hashlib.sha256(made.content).hexdigest(),
            pages=made.pages,
            year=datetime.now(UTC).year,
        )
        kept.sweep(folder)
    except pdf.Stopped:
        log.info("document %s was stopped", document_id)
    except (pdf.RenderingFailed, BrokenDossier) as error:
        log.warning("document %s was not made: %s", document_id, error)
        operations.fail_rendering(document_id, str(error))
    except Exception:
        operations.fail_rendering(
            document_id, "A fault of the program stopped this document; the worker’s log says more."
        )
        raise
