"""Jobs that outlive a request. The only importer of procrastinate.

A job is a function that takes ids and loads what it needs; it is registered by name in its
app's ``jobs.py`` and started by name, inside the transaction that asked for it. Progress is
kept in the row that the job works for, so that a person can leave and come back.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

from procrastinate import RetryStrategy
from procrastinate.contrib.django import app
from procrastinate.jobs import Status

log = logging.getLogger(__name__)

F = TypeVar("F", bound=Callable[..., None])

STALLED_AFTER_S = 30.0
"""A worker that has not been heard of for this long is dead; its jobs start again."""


def job(name: str, *, retries: int = 2) -> Callable[[F], F]:
    """Register a function as the job ``name``; it is retried after an error ``retries`` times."""

    def register(function: F) -> F:
        app.task(name=name, retry=RetryStrategy(max_attempts=retries + 1, wait=2))(function)
        return function

    return register


def enqueue(name: str, *, lock: str | None = None, **ids: int | str) -> int:
    """Start a job by name with these ids when the running transaction commits.

    Jobs with the same ``lock`` run one after the other.
    """
    return int(app.configure_task(name, lock=lock).defer(**ids))


def cancel(job_id: int) -> bool:
    """Ask a job to stop: one that waits never starts, one that runs is told to abort."""
    return bool(app.job_manager.cancel_job_by_id(job_id, abort=True))


@app.periodic(cron="* * * * *")
@app.task(name="core.retry-stalled", queueing_lock="core.retry-stalled", pass_context=False)
async def retry_stalled(timestamp: int) -> None:
    """Put jobs of dead workers back into the queue, once a minute."""
    del timestamp
    manager = app.job_manager
    for found in await manager.get_stalled_jobs(seconds_since_heartbeat=STALLED_AFTER_S):
        log.warning("job %s of a dead worker starts again", found.id)
        await manager.retry_job(found)


def waiting() -> int:
    """Count the jobs that wait or run."""
    from procrastinate.contrib.django.models import ProcrastinateJob  # noqa: PLC0415  # needs ready apps

    return ProcrastinateJob.objects.filter(
        status__in=[Status.TODO.value, Status.DOING.value]
    ).count()
