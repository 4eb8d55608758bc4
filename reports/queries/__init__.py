"""What is read for documents: the dossier out of all concerns, and the documents themselves."""

from __future__ import annotations

from reports.queries.documents import (
    DOCUMENT_SORTS,
    DocumentFilter,
    DocumentRow,
    comparison,
    count_documents,
    counts,
    document,
    documents,
    history,
    last_issued,
    may_draft,
    stored_file,
)
from reports.queries.dossiers import Subject, assemble

__all__ = [
    "DOCUMENT_SORTS",
    "DocumentFilter",
    "DocumentRow",
    "Subject",
    "assemble",
    "comparison",
    "count_documents",
    "counts",
    "document",
    "documents",
    "history",
    "last_issued",
    "may_draft",
    "stored_file",
]
