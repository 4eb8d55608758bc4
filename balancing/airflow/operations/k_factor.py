"""K as left: kept, taken from one of the methods, or entered by hand with a reason."""

from __future__ import annotations

from django.db import transaction

from balancing.airflow.domain.completeness import k_change
from balancing.airflow.domain.evaluate import evaluate
from balancing.airflow.domain.types import METHOD_NAMES, PRACTICE
from balancing.airflow.models import FlowTest, KMethod
from balancing.airflow.operations.locking import locked_test
from balancing.airflow.queries.snapshots import test_snapshot
from projectsite.accounts.access import Action
from projectsite.core.errors import Conflict, InvalidInput
from projectsite.core.saving import checked_save
from projectsite.core.scope import Scope
from projectsite.core.units import Entered, show

K_LIMIT_M3_S_SQRT_PA = 10.0
"""Far above the K of any inlet (a 24 in. inlet has about 0.3): a unit was confused."""


@transaction.atomic
def take_recommended_k(
    scope: Scope, *, test_id: int, version: int, method: str, reason: str = ""
) -> int:
    """Take K as left from one of the methods, or keep K as found; give the test's new version.

    Parameters
    ----------
    method
        "kept", "one-reading", "least-squares", "least-relative" or "zero-offset".
    reason
        Needed when the change is larger than good practice allows without one.

    Raises
    ------
    InvalidInput
        The readings do not allow the method, its K must not be entered, or the reason is missing.
    """
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, version=version)
    if method == KMethod.KEPT:
        k = test.k_as_found_m3_s_sqrt_pa
        if k is None:
            raise InvalidInput("K as found is not entered yet, so it can't be kept.")
    else:
        k = _fitted(scope, test_id, method)
    return _set(scope, test, k, method=method, reason=reason)


def _fitted(scope: Scope, test_id: int, method: str) -> float:
    result = evaluate(test_snapshot(scope, test_id), scope.project.tolerances)
    found = {option.method: option for option in result.choice.options} if result.choice else {}
    option = next((found[name] for name in found if name == method), None)
    if option is None:
        name = METHOD_NAMES.get(method)
        if name is None or method == KMethod.BY_HAND:
            raise InvalidInput(
                f"“{method}” is not a way to find K.", fields={"method": "Not a way to find K."}
            )
        raise InvalidInput(f"The readings do not allow K by “{name}” yet.")
    if option.refusal:
        raise InvalidInput(option.refusal)
    return option.k_m3_s_sqrt_pa


@transaction.atomic
def set_k(scope: Scope, *, test_id: int, version: int, k: Entered, reason: str) -> int:
    """Enter K as left by hand, which always needs a reason; give the test's new version."""
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, version=version)
    if not 0 < k.value <= K_LIMIT_M3_S_SQRT_PA:
        message = f"{k.text} can't be a K factor. Look at the number and its unit."
        raise InvalidInput(message, fields={"k": message})
    if not reason.strip():
        message = "Say why this K and not one of the proposals."
        raise InvalidInput(message, fields={"reason": message})
    test.entered = {**test.entered, "k_as_left_m3_s_sqrt_pa": k.text}
    return _set(scope, test, k.value, method=KMethod.BY_HAND, reason=reason)


def _set(scope: Scope, test: FlowTest, k: float, *, method: str, reason: str) -> int:
    change = k_change(test.k_as_found_m3_s_sqrt_pa, k)
    is_large = change is not None and abs(change) > PRACTICE.k_change * (1 + 1e-9)
    if is_large and not reason.strip():
        shown = show(k, "k_factor", scope.system, with_unit=True)
        message = (
            f"K {shown} is {abs(change or 0):.0%} {'above' if (change or 0) > 0 else 'below'} K as "
            f"found. A change of more than {PRACTICE.k_change:.0%} needs a reason."
        )
        raise InvalidInput(message, fields={"reason": message})
    if method != KMethod.BY_HAND:
        test.entered = {
            name: text for name, text in test.entered.items() if name != "k_as_left_m3_s_sqrt_pa"
        }
    test.k_as_left_m3_s_sqrt_pa, test.k_method = k, method
    test.k_reason = reason.strip()
    test.entered_by_id = scope.person.id
    test.version += 1
    checked_save(test)
    return test.version


@transaction.atomic
def clear_k(scope: Scope, *, test_id: int, version: int) -> int:
    """Take K as left out again; give the test's new version."""
    scope.require(Action.ENTER_READINGS)
    test = locked_test(scope, test_id, version=version)
    if test.k_as_left_m3_s_sqrt_pa is None:
        raise Conflict("K as left is not settled yet.")
    test.k_as_left_m3_s_sqrt_pa, test.k_method, test.k_reason = None, "", ""
    test.entered = {
        name: text for name, text in test.entered.items() if name != "k_as_left_m3_s_sqrt_pa"
    }
    test.version += 1
    checked_save(test)
    return test.version
