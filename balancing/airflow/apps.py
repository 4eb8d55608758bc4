"""Airflow verification: instruments, flow tests, outlet balance, acceptance."""

from __future__ import annotations

from django.apps import AppConfig


class AirflowConfig(AppConfig):
    """Flow tests and their findings."""

    name = "balancing.airflow"
    label = "airflow"
