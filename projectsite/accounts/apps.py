"""Accounts: who works on what."""

from __future__ import annotations

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """People, projects, memberships and tokens."""

    name = "projectsite.accounts"
    label = "accounts"
