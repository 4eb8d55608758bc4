"""Shapes of the API: what is taken and what is given."""

from __future__ import annotations

from balancing.airflow.serializers.evaluation import EvaluationOut, evaluation_of
from balancing.airflow.serializers.given import (
    BatchItemOut,
    BatchOut,
    InstrumentOut,
    PointOut,
    ReadingOut,
    TestOut,
    TestRowOut,
)
from balancing.airflow.serializers.taken import (
    CertificateIn,
    ConditionsIn,
    DecisionIn,
    InstrumentIn,
    KIn,
    NewTestIn,
    PointIn,
    ReadingIn,
    ReadingsIn,
    TestVersionIn,
)
from balancing.airflow.serializers.words import (
    INSTRUMENT_KINDS,
    K_METHODS,
    ROUNDS,
    SETPOINTS,
    SEVERITIES,
    TEST_STATES,
    VERDICTS,
)

__all__ = [
    "INSTRUMENT_KINDS",
    "K_METHODS",
    "ROUNDS",
    "SETPOINTS",
    "SEVERITIES",
    "TEST_STATES",
    "VERDICTS",
    "BatchItemOut",
    "BatchOut",
    "CertificateIn",
    "ConditionsIn",
    "DecisionIn",
    "EvaluationOut",
    "InstrumentIn",
    "InstrumentOut",
    "KIn",
    "NewTestIn",
    "PointIn",
    "PointOut",
    "ReadingIn",
    "ReadingOut",
    "ReadingsIn",
    "TestOut",
    "TestRowOut",
    "TestVersionIn",
    "evaluation_of",
]
