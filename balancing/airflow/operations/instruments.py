"""Instruments: add, change, archive, and the certificate of their calibration."""

from __future__ import annotations

from datetime import date, datetime
from typing import TypedDict

from django.core.files.base import ContentFile
from django.db import transaction

from balancing.airflow.models import Instrument
from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput, NotFound
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope

CERTIFICATE_LIMIT_BYTES = 10 * 1024 * 1024
"""A scanned certificate is a few pages; more is a mistake."""

_BEGINNINGS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "pdf"),
    (b"\x89PNG\r\n\x1a\n", "png"),
    (b"\xff\xd8\xff", "jpg"),
)


class InstrumentValues(TypedDict, total=False):
    """Values of an instrument; what is left out stays as it is."""

    kind: str
    name: str
    serial: str
    accuracy_fraction: float
    accuracy_floor_si: float
    minimum_m3_s: float | None
    calibrated_date: date | None
    due_date: date | None


@transaction.atomic
def add_instrument(
    scope: Scope, *, values: InstrumentValues, certificate: bytes | None = None
) -> int:
    """Add an instrument to the project, with the certificate of its calibration if there is one."""
    scope.require(Action.EDIT_INSTRUMENTS)
    kind = "" if certificate is None else _checked_kind(certificate)
    instrument = Instrument(project_id=scope.project.id, **values)
    checked_save(instrument)
    if certificate is not None:
        _keep(instrument, certificate, kind)
        instrument.save(update_fields=["certificate"])
    return instrument.pk


@transaction.atomic
def change_instrument(
    scope: Scope,
    *,
    instrument_id: int,
    version: int,
    values: InstrumentValues,
    certificate: bytes | None = None,
) -> int:
    """Change an instrument and give its new version.

    Tests keep what they were judged with once they are handed in; open tests follow.
    """
    scope.require(Action.EDIT_INSTRUMENTS)
    instrument = _locked(scope, instrument_id, version)
    kind = "" if certificate is None else _checked_kind(certificate)
    for name, value in values.items():
        setattr(instrument, name, value)
    if certificate is not None:
        _keep(instrument, certificate, kind)
    instrument.version += 1
    checked_save(instrument)
    return instrument.version


@transaction.atomic
def archive_instrument(scope: Scope, *, instrument_id: int, version: int, at: datetime) -> None:
    """Take an instrument out of use; past tests keep it."""
    scope.require(Action.EDIT_INSTRUMENTS)
    instrument = _locked(scope, instrument_id, version)
    instrument.archived_at = at
    instrument.version += 1
    instrument.save(update_fields=["archived_at", "version"])


@transaction.atomic
def restore_instrument(scope: Scope, *, instrument_id: int, version: int) -> None:
    """Take an archived instrument into use again."""
    scope.require(Action.EDIT_INSTRUMENTS)
    instrument = _locked(scope, instrument_id, version)
    instrument.archived_at = None
    instrument.version += 1
    instrument.save(update_fields=["archived_at", "version"])


def kind_of_file(content: bytes) -> str:
    """Tell by its first bytes whether a file is a PDF, PNG or JPEG; "" for anything else.

    >>> kind_of_file(b"%PDF-1.7 ..."), kind_of_file(b"<html>")
    ('pdf', '')
    """
    return next((kind for start, kind in _BEGINNINGS if content.startswith(start)), "")


@transaction.atomic
def keep_certificate(scope: Scope, *, instrument_id: int, content: bytes) -> int:
    """Keep the certificate of an instrument's calibration and give the instrument's version."""
    scope.require(Action.EDIT_INSTRUMENTS)
    kind = _checked_kind(content)
    instrument = _locked(scope, instrument_id, None)
    _keep(instrument, content, kind)
    instrument.version += 1
    instrument.save(update_fields=["certificate", "version"])
    return instrument.version


def _checked_kind(content: bytes) -> str:
    """Kind of a certificate: it shows in the content, not in the name that came with it."""
    if len(content) > CERTIFICATE_LIMIT_BYTES:
        raise _bad_certificate("The certificate is larger than 10 MB.")
    kind = kind_of_file(content)
    if not kind:
        raise _bad_certificate("The certificate is not a PDF, PNG or JPEG file.")
    return kind


def _keep(instrument: Instrument, content: bytes, kind: str) -> None:
    # The name is ours, so that nothing of what was sent reaches the file system.
    name = f"instrument-{instrument.pk}.{kind}"
    instrument.certificate.save(name, ContentFile(content), save=False)


def _bad_certificate(message: str) -> InvalidInput:
    return InvalidInput(message, fields={"certificate": message})


def _locked(scope: Scope, instrument_id: int, version: int | None) -> Instrument:
    instrument = (
        Instrument.objects.select_for_update()
        .filter(project_id=scope.project.id, id=instrument_id)
        .first()
    )
    if instrument is None:
        raise NotFound("There is no such instrument in this project.")
    if version is not None and version != instrument.version:
        raise Conflict(
            f"Somebody changed {instrument.name} since you opened it. Look at it as it is now, "
            "and then save again."
        )
    return instrument
