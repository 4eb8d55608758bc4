"""Addresses of flow tests and instruments, below a project."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from balancing.airflow.api import flow_tests, readings
from balancing.airflow.api import instruments as instruments_api
from balancing.airflow.views import instruments, lists, panels, steps, test

app_name = "airflow"

urlpatterns: list[URLPattern | URLResolver] = [
    path("airflow/", lists.tests, name="tests"),
    path("airflow/acceptance/", lists.acceptance, name="acceptance"),
    path("airflow/start/", steps.start, name="start"),
    path("airflow/panel/", panels.project_panel, name="project-panel"),
    path("airflow/units/<int:unit_id>/", panels.unit_panel, name="unit-panel"),
    path("airflow/tests/<int:test_id>/", test.test, name="test"),
    path("airflow/tests/<int:test_id>/conditions/", test.conditions, name="conditions"),
    path("airflow/tests/<int:test_id>/points/<int:point_id>/", test.point, name="point"),
    path("airflow/tests/<int:test_id>/k/", test.k_factor, name="k-factor"),
    path("airflow/tests/<int:test_id>/submit/", steps.submit, name="submit"),
    path("airflow/tests/<int:test_id>/withdraw/", steps.withdraw, name="withdraw"),
    path("airflow/tests/<int:test_id>/schedule/", steps.take_over, name="take-over"),
    path("airflow/tests/<int:test_id>/return/", steps.return_test, name="return"),
    path("airflow/tests/<int:test_id>/accept/", steps.accept, name="accept"),
    path("airflow/tests/<int:test_id>/discard/", steps.discard, name="discard"),
    path("airflow/instruments/", instruments.instruments, name="instruments"),
    path("airflow/instruments/add/", instruments.add_instrument, name="add-instrument"),
    path("airflow/instruments/<int:instrument_id>/", instruments.instrument, name="instrument"),
    path(
        "airflow/instruments/<int:instrument_id>/archive/",
        instruments.archive,
        name="archive-instrument",
    ),
    path(
        "airflow/instruments/<int:instrument_id>/certificate/",
        instruments.certificate,
        name="certificate",
    ),
]
"""Pages; mounted below ``p/<project_key>/``."""

api_urlpatterns: list[URLPattern | URLResolver] = [
    *flow_tests.urlpatterns,
    *readings.urlpatterns,
    *instruments_api.urlpatterns,
]
"""API; mounted below ``api/v1/projects/<project_key>/``."""
