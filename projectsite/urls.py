"""Addresses of the site. With ``sample.py`` and ``wsgi.py`` the only module that knows every app.

Each app exports ``urlpatterns`` (pages, mounted below ``p/<project_key>/``, namespace its
label) and ``api_urlpatterns`` (mounted below ``api/v1/projects/<project_key>/``, namespace
``<label>-api``). Refusals and unknown addresses are shown by ``400.html`` to ``500.html``.
"""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from balancing.airflow import urls as airflow
from projectsite.accounts import urls as accounts
from projectsite.accounts.views.own import home
from projectsite.core import calculator_api, calculator_views, status
from reports import urls as reports
from zones.inventory import urls as inventory
from zones.work import urls as work

Patterns = list[URLPattern | URLResolver]

PAGES = "p/<slug:project_key>/"
API = "api/v1/"
PROJECT_API = f"{API}projects/<slug:project_key>/"


def _mounted(label: str, pages: Patterns, api: Patterns) -> Patterns:
    return [
        path(PAGES, include((pages, label))),
        path(PROJECT_API, include((api, f"{label}-api"))),
    ]


_accounts_pages: Patterns = [
    *accounts.site_urlpatterns,
    path(PAGES, include(accounts.project_urlpatterns)),
]
_accounts_api: Patterns = [
    path(API, include(accounts.site_api_urlpatterns)),
    path(PROJECT_API, include(accounts.api_urlpatterns)),
]
_calculators_api: Patterns = [
    path(
        "calculators/",
        calculator_api.CalculatorsApi.as_view({"get": "list"}),
        name="calculators",
    ),
    path(
        "calculators/<slug:name>/",
        calculator_api.CalculatorsApi.as_view({"get": "retrieve", "post": "compute"}),
        name="calculator",
    ),
    path("status/", status.StatusApi.as_view(), name="status"),
]

urlpatterns: Patterns = [
    path("", home, name="home"),
    path("", include((_accounts_pages, "accounts"))),
    path("", include((_accounts_api, "accounts-api"))),
    *_mounted("inventory", inventory.urlpatterns, inventory.api_urlpatterns),
    *_mounted("work", work.urlpatterns, work.api_urlpatterns),
    *_mounted("airflow", airflow.urlpatterns, airflow.api_urlpatterns),
    *_mounted("reports", reports.urlpatterns, reports.api_urlpatterns),
    path("calculators/", calculator_views.calculators, name="calculators"),
    path("calculators/<slug:name>/", calculator_views.calculator, name="calculator"),
    path("status/", status.status, name="status"),
    path("healthz", status.healthz, name="healthz"),
    path(API, include((_calculators_api, "site-api"))),
    path("api/schema/", SpectacularAPIView.as_view(), name="schema"),
    path(
        "api/docs/",
        SpectacularSwaggerSplitView.as_view(template_name="core/api_docs.html"),
        name="api-docs",
    ),
]

handler500 = "projectsite.core.faults.fault"
