"""Addresses of the inventory, below a project."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver

app_name = "inventory"

_imports: list[URLPattern | URLResolver] = [
    # Pages of schedule imports.
]
_api_imports: list[URLPattern | URLResolver] = [
    # API of schedule imports.
]

urlpatterns: list[URLPattern | URLResolver] = [*_imports]
api_urlpatterns: list[URLPattern | URLResolver] = [*_api_imports]
