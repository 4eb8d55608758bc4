"""Turns that people take in a project: who comes second waits until the first has committed."""

from __future__ import annotations

from enum import IntEnum

from django.db import connection


class Turn(IntEnum):
    """What is done by one at a time. The number is the first key of the advisory lock.

    A number is never used for something else: an older program may still run beside this one.
    """

    APPLY_SCHEDULE = 0x5C4ED
    CHANGE_CATALOGUE = 0x57E9
    """The trigger against circles of steps takes the same lock."""
    MARK_STEPS = 0x57A9
    PLAN_WORK = 0xA551
    PLAN_PERIODS = 0x9E51
    CHANGE_CHECKOUT_LISTS = 0xC11C
    CHECK_OUT = 0xC10C
    OPEN_PUNCH_ITEMS = 0x9A7C
    NUMBER_DOCUMENTS = 0x7265706F


def take_turn(turn: Turn, project_id: int) -> None:
    """Wait for the turn in a project; it is given back when the transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [turn.value, project_id])
