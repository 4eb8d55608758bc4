"""Jobs of the inventory."""

from __future__ import annotations

from projectsite.accounts.access import scope_by_id
from projectsite.core.errors import ApplicationError
from projectsite.core.jobs import job
from zones.inventory.imports import work
from zones.inventory.operations.imports import JOB, fail_work


@job(JOB)
def read_schedule(import_id: int, project_id: int, person_id: int, work_key: int) -> None:
    """Read a large schedule; why it could not be read stands in the import."""
    try:
        work.work(scope_by_id(person_id, project_id), import_id, work_key)
    except ApplicationError:
        # Recorded for the person already; trying again would end the same way.
        return
    except Exception:
        fail_work(
            import_id=import_id,
            work_key=work_key,
            words="The reading stopped on a fault of the program. It is tried again.",
        )
        raise
