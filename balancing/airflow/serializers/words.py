"""Words that the API takes and gives."""

from __future__ import annotations

INSTRUMENT_KINDS = ("hood", "manometer", "anemometer", "thermometer")
TEST_STATES = ("open", "submitted", "returned", "accepted", "superseded")
ROUNDS = ("as-found", "as-left")
SETPOINTS = ("cooling-max", "middle", "cooling-min", "heating-max")
K_METHODS = (
    "kept",
    "one-reading",
    "least-squares",
    "least-relative",
    "zero-offset",
    "by-hand",
)
VERDICTS = ("within", "low", "high", "indeterminate", "not-applicable", "unknown")
SEVERITIES = ("look", "disagrees", "holds")
