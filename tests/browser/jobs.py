"""Run the jobs that wait, here and now, as the worker would."""

from __future__ import annotations

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from django.db import connections
from procrastinate.contrib.django import app


def run_waiting_jobs() -> None:
    """Take every waiting job from the queue and return when none is left.

    The worker runs in a thread of its own, because the browser keeps an event loop in this one.
    """
    failures: list[BaseException] = []

    async def work() -> None:
        # One thread for all jobs, so that its database connection can be closed in it.
        loop = asyncio.get_running_loop()
        loop.set_default_executor(ThreadPoolExecutor(max_workers=1))
        connector: Any = app.connector
        worker_app = app.with_connector(connector.get_worker_connector())
        async with worker_app.open_async():
            await worker_app.run_worker_async(
                wait=False, listen_notify=False, install_signal_handlers=False, concurrency=1
            )
        await loop.run_in_executor(None, connections.close_all)

    def run() -> None:
        try:
            asyncio.run(work())
        except BaseException as error:  # noqa: BLE001  # raised again in the test's own thread
            failures.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=run)
    thread.start()
    thread.join(timeout=120)
    assert not thread.is_alive(), "the jobs did not end within two minutes"
    if failures:
        raise failures[0]
