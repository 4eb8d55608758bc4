"""Addresses of one-time links."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse

from projectsite.accounts.domain.codes import Code


def address_of(code: Code) -> str:
    """Address that a one-time link is; the code stands where access logs don't write it."""
    return f"{settings.PUBLIC_ADDRESS.rstrip('/')}{reverse('accounts:join')}?code={code.plain}"
