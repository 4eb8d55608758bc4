"""A list as a file: exactly what is shown, all pages."""

from __future__ import annotations

import io

from django.http import HttpResponse

from projectsite.core.workbook import write_csv, write_xlsx
from projectsite.ui.tables import Table

_TYPES = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}


def wants_file(wanted: str | None) -> bool:
    """Tell whether the address asks for a file."""
    return wanted in _TYPES


def file_of(table: Table, wanted: str, name: str) -> HttpResponse:
    """Answer with the table as a workbook or as text."""
    target = io.BytesIO()
    if wanted == "xlsx":
        write_xlsx(target, [table.sheet()])
    else:
        write_csv(target, table.sheet())
    response = HttpResponse(target.getvalue(), content_type=_TYPES[wanted])
    response["Content-Disposition"] = f'attachment; filename="{name}.{wanted}"'
    return response
