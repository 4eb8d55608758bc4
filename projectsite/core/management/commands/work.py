"""Run the job worker."""

from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    """Take jobs from the queue until stopped; jobs of a worker that died start again."""

    help = "Run the job worker in the foreground."

    def handle(self, *args: Any, **options: Any) -> None:
        """Work until told to stop."""
        del args, options
        call_command("procrastinate", "worker", "--concurrency", "1", "--delete-jobs", "successful")
