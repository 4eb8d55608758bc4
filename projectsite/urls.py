"""Addresses of the site. With ``sample.py`` and ``wsgi.py`` the only module that knows every app."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
