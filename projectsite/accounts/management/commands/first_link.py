"""Print a one-time link for the first person of a site."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from projectsite.accounts.domain.codes import new_link_code
from projectsite.accounts.domain.links import address_of
from projectsite.accounts.operations.joining import issue_first_link
from projectsite.core.errors import Conflict


class Command(BaseCommand):
    """While nobody can sign in, each run prints a new link and withdraws the one before."""

    help = "Print a one-time link for the first person, as long as nobody can sign in."

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the link and print it, or say that the site has people."""
        del args, options
        code = new_link_code()
        try:
            issue_first_link(digest=code.digest, at=timezone.now())
        except Conflict as refusal:
            self.stdout.write(refusal.message)
            return
        self.stdout.write("Open this link to become the first person (it works once, for 7 days):")
        self.stdout.write(address_of(code))
