"""Documents of a project: lists, one document, its history, and how two issues differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, F, Q, QuerySet

from projectsite.accounts.access import Action
from projectsite.core.errors import InvalidInput, NotFound
from projectsite.core.scope import Scope
from reports.domain.compare import Difference, compare
from reports.domain.dossier import Dossier
from reports.domain.frames import number_text
from reports.models import Document, DocumentKind, DocumentState, RenderState

DOCUMENT_SORTS: Mapping[str, tuple[str, ...]] = {
    "number": ("number",),
    "title": ("title",),
    "kind": ("kind",),
    "state": ("state", "render_state"),
    "issue": ("issue",),
    "issued": ("issued_at",),
    "created": ("created_at",),
    "pages": ("page_count",),
}
"""What a list of documents can be ordered by, and the columns that it means."""

DRAFT_ACTION: Mapping[str, Action] = {
    DocumentKind.UNIT_BALANCE: Action.DRAFT_TEST_SHEET,
    DocumentKind.BALANCE_REPORT: Action.DRAFT_DOCUMENT,
    DocumentKind.POINT_LIST: Action.DRAFT_DOCUMENT,
    DocumentKind.PROGRESS_REPORT: Action.DRAFT_DOCUMENT,
    DocumentKind.PUNCH_LIST: Action.DRAFT_DOCUMENT,
    DocumentKind.CHECKOUT_SHEETS: Action.DRAFT_DOCUMENT,
    DocumentKind.FLOOR_PLAN: Action.DRAFT_DOCUMENT,
    DocumentKind.LABEL_SHEET: Action.DRAFT_DOCUMENT,
}
"""What a person must be allowed to draft a document of a kind, and to see drafts of it."""

_NO_DOCUMENT = "There is no such document in this project."


@dataclass(frozen=True, slots=True)
class DocumentFilter:
    """Which documents are wanted; an empty value leaves the filter out."""

    text: str = ""
    kind: str = ""
    state: str = ""
    unit: int | None = None
    air_handler: int | None = None


@dataclass(frozen=True, slots=True)
class DocumentRow:
    """One document without its dossier."""

    id: int
    kind: str
    title: str
    state: str
    number: int | None
    issue: int | None
    note: str
    unit_id: int | None
    air_handler_id: int | None
    options: Mapping[str, Any]
    render_state: str
    render_error: str
    sections_done: int
    sections_total: int
    page_count: int | None
    sha256: str
    created_at: datetime
    issued_at: datetime | None
    created_by: str
    issued_by: str | None
    downloads: int

    @property
    def number_text(self) -> str:
        """The number as printed; "" for a draft."""
        return number_text(self.kind, self.number)

    @property
    def kind_word(self) -> str:
        """Name of the kind."""
        return str(DocumentKind(self.kind).label)

    @property
    def is_issued(self) -> bool:
        """Tell whether it was issued."""
        return self.state == DocumentState.ISSUED

    @property
    def is_running(self) -> bool:
        """Tell whether it waits to be rendered or is being rendered."""
        return self.render_state in {RenderState.WAITING, RenderState.RUNNING}

    @property
    def is_done(self) -> bool:
        """Tell whether there is a file."""
        return self.render_state == RenderState.DONE

    @property
    def can_retry(self) -> bool:
        """Tell whether the rendering stopped and can be asked for again."""
        return self.render_state in {RenderState.FAILED, RenderState.CANCELLED}


_COLUMNS = tuple(
    name
    for name in DocumentRow.__dataclass_fields__
    if name not in {"created_by", "issued_by", "downloads"}
)


def may_draft(scope: Scope) -> list[str]:
    """Kinds of document that the person may draft here."""
    return [kind for kind, action in DRAFT_ACTION.items() if scope.allows(action)]


def visible(scope: Scope) -> QuerySet[Document]:
    """Documents that the person may know of: issued ones, and drafts of own kinds."""
    scope.require(Action.DOWNLOAD_ISSUED)
    return Document.objects.filter(project_id=scope.project.id).filter(
        Q(state=DocumentState.ISSUED) | Q(kind__in=may_draft(scope))
    )


def _matching(scope: Scope, wanted: DocumentFilter) -> QuerySet[Document]:
    found = visible(scope)
    if wanted.text:
        found = found.filter(Q(title__icontains=wanted.text) | Q(note__icontains=wanted.text))
    plain = {
        "kind": wanted.kind or None,
        "state": wanted.state or None,
        "unit_id": wanted.unit,
        "air_handler_id": wanted.air_handler,
    }
    return found.filter(**{key: value for key, value in plain.items() if value is not None})


def _rows(found: QuerySet[Document]) -> list[DocumentRow]:
    values: list[dict[str, Any]] = list(
        found.annotate(
            drafter=F("created_by__full_name"),
            issuer=F("issued_by__full_name"),
            taken=Count("downloads"),
        ).values(*_COLUMNS, "drafter", "issuer", "taken")
    )
    return [
        DocumentRow(
            **{name: row[name] for name in _COLUMNS},
            created_by=row["drafter"],
            issued_by=row["issuer"],
            downloads=row["taken"],
        )
        for row in values
    ]


def count_documents(scope: Scope, wanted: DocumentFilter) -> int:
    """Count the documents that match."""
    return _matching(scope, wanted).count()


def documents(
    scope: Scope,
    wanted: DocumentFilter,
    *,
    sort: str = "-created",
    offset: int = 0,
    limit: int | None = None,
) -> list[DocumentRow]:
    """Read one page of documents in one query; unknown values come last either way."""
    columns = DOCUMENT_SORTS[sort.removeprefix("-")]
    order = [
        F(column).desc(nulls_last=True) if sort.startswith("-") else F(column).asc(nulls_last=True)
        for column in columns
    ]
    found = _matching(scope, wanted).order_by(*order, "-id")
    return _rows(found[offset:] if limit is None else found[offset : offset + limit])


def counts(scope: Scope) -> dict[str, int]:
    """Number of issued documents and of drafts that the person may know of."""
    return visible(scope).aggregate(
        issued=Count("id", filter=Q(state=DocumentState.ISSUED)),
        drafts=Count("id", filter=Q(state=DocumentState.DRAFT)),
    )


def last_issued(scope: Scope) -> DocumentRow | None:
    """Read the document that was issued last; None when none was."""
    wanted = DocumentFilter(state=DocumentState.ISSUED)
    return next(iter(documents(scope, wanted, sort="-issued", limit=1)), None)


def document(scope: Scope, document_id: int) -> DocumentRow:
    """Read one document; NotFound also where the person may not know of it."""
    rows = _rows(visible(scope).filter(id=document_id))
    if not rows:
        raise NotFound(_NO_DOCUMENT)
    return rows[0]


def history(scope: Scope, row: DocumentRow) -> list[DocumentRow]:
    """Issues of the same subject and kind, the newest first."""
    found = visible(scope).filter(
        kind=row.kind,
        unit_id=row.unit_id,
        air_handler_id=row.air_handler_id,
        options=row.options,
        state=DocumentState.ISSUED,
    )
    return _rows(found.order_by("-issue", "-id"))


def dossier_of(scope: Scope, document_id: int) -> Dossier:
    """Read the dossier that a document was made from."""
    data = visible(scope).filter(id=document_id).values_list("dossier", flat=True).first()
    if data is None:
        raise NotFound(_NO_DOCUMENT)
    return Dossier.from_json(data)


def comparison(
    scope: Scope, document_id: int, other_id: int
) -> tuple[DocumentRow, DocumentRow, list[Difference]]:
    """Two issues of one subject, the older first, and which figures changed between them."""
    pair = [document(scope, document_id), document(scope, other_id)]
    if len({_subject(row) for row in pair}) > 1:
        raise InvalidInput("Only issues of the same subject can be compared.")
    old, new = sorted(pair, key=lambda row: row.issue or 10**9)
    changes = compare(dossier_of(scope, old.id), dossier_of(scope, new.id))
    return old, new, changes


def _subject(row: DocumentRow) -> tuple[object, ...]:
    """What a document is about; issues of the same follow each other."""
    return row.kind, row.unit_id, row.air_handler_id, *sorted(row.options.items())


def stored_file(scope: Scope, document_id: int) -> tuple[str, str]:
    """Name of a finished document's file in the storage, and the name that a reader gets."""
    row = document(scope, document_id)
    name = visible(scope).filter(id=document_id).values_list("file", flat=True).get()
    if not row.is_done or not name:
        raise NotFound("This document has no file yet.")
    start = f"{row.number_text}-issue-{row.issue}" if row.is_issued else f"draft-{row.id}"
    words = "".join(c if c.isalnum() else "-" for c in f"{scope.project.number}-{row.title}")
    return name, f"{start}-{'-'.join(filter(None, words.split('-')))}.pdf"
