"""Airflow verification: instruments, flow tests, outlet balance, acceptance."""

from __future__ import annotations

from django.apps import AppConfig


class AirflowConfig(AppConfig):
    """Flow tests and their findings."""

    name = "balancing.airflow"
    label = "airflow"

    def ready(self) -> None:
        """Register findings, proofs, waiting work and panels."""
        # Apps load before models, so these are imported when both are there.
        from balancing.airflow import queries  # noqa: PLC0415  # apps load before models
        from balancing.airflow.domain import registry, rules  # noqa: PLC0415  # apps load before models
        from projectsite.core import (  # noqa: PLC0415  # apps load before models
            evidence,
            findings,
            panels,
            reopens,
            waiting,
        )

        registry.register_all()
        findings.register("airflow", queries.findings, rules.RULES)
        evidence.register("airflow", queries.proofs, decides=["airflow-verified"])
        reopens.register("airflow", queries.reopened)
        waiting.register("airflow", queries.waiting)
        panels.register(
            "unit",
            panels.Panel(
                "Airflow", "airflow:unit-panel", action="see-tests", is_wide=True, order=20
            ),
        )
        panels.register(
            "project",
            panels.Panel("Airflow", "airflow:project-panel", action="see-tests", order=20),
        )
