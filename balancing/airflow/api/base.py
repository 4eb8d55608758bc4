"""What the airflow API shares: scope, paging over plain values, and a test in full."""

from __future__ import annotations

from typing import Any

from rest_framework.request import Request
from rest_framework.viewsets import ViewSet

from balancing.airflow.domain.completeness import missing
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.queries import tests as queries
from balancing.airflow.queries.snapshots import test_snapshot
from balancing.airflow.queries.standing import findings_of_test
from balancing.airflow.serializers import evaluation_of
from projectsite.accounts.access import Action, scope_for
from projectsite.core.paging import NumberedPages
from projectsite.core.scope import Scope
from zones.inventory.queries import unit_facts


class AirflowViewSet(ViewSet):
    """Base: a scope from the address, lists in numbered pages."""

    pagination_class = NumberedPages

    def scope(self, request: Request, action: Action = Action.SEE_TESTS) -> Scope:
        """Decide whether the caller may do this in the project of the address."""
        return scope_for(request, self.kwargs["project_key"], action)


def whole_test(scope: Scope, test_id: int) -> dict[str, Any]:
    """Give a test with its conditions, points, readings and what they come to."""
    row = queries.test_row(scope, test_id)
    snapshot = test_snapshot(scope, test_id)
    result = evaluate(snapshot, scope.project.tolerances)
    facts = unit_facts(scope, [row["unit_id"]]) if snapshot.state != "superseded" else []
    findings = findings_of_test(scope, snapshot, facts[0] if facts else None)
    return {
        **row,
        "points": queries.point_rows(scope, test_id),
        "readings": queries.reading_rows(scope, test_id=test_id),
        "evaluation": evaluation_of(result, list(missing(result)), findings),
    }
