"""Load the sample project into an empty site."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from projectsite.accounts.queries import has_people
from projectsite.core.errors import ApplicationError
from projectsite.sample.load import load
from projectsite.sample.people import SignIn


class Command(BaseCommand):
    """The sample project, with one person per role and random passwords."""

    help = "Load the sample project into an empty site and say how its people sign in."

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the arguments."""
        parser.add_argument(
            "--credentials", type=Path, help="file that keeps names and passwords (mode 0600)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Load all of it in one transaction; the passwords are kept before it commits."""
        del args
        if has_people():
            raise CommandError("This site has people already; the sample goes into an empty one.")
        try:
            with transaction.atomic():
                people = load(
                    settings.SITE_ROOT / "fixtures",
                    address=settings.PUBLIC_ADDRESS,
                    at=timezone.now(),
                )
                if options["credentials"]:
                    keep(options["credentials"], people)
        except ApplicationError as refusal:
            raise CommandError(refusal.message) from refusal
        for line in lines(people):
            self.stdout.write(line)


def lines(people: list[SignIn]) -> list[str]:
    """Say how each person signs in, one line each."""
    return [f"{p.username:<12} {p.password}   {p.full_name}, {p.role}" for p in people]


def keep(path: Path, people: list[SignIn]) -> None:
    """Write names and passwords to a file that only its owner can read."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write("\n".join(lines(people)) + "\n")
