"""What the API takes and gives for punch items."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from zones.work.domain.words import PUNCH_STATES, SEVERITIES, TRADES
from zones.work.queries.subjects import NOUNS

SUBJECT_KINDS = tuple(NOUNS.items())


class PunchStepOut(serializers.Serializer[Any]):
    """One thing that happened to an item."""

    kind = serializers.CharField(help_text="opened, changed, answered, verified or reopened")
    text = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


class PunchOut(serializers.Serializer[Any]):
    """A punch item."""

    id = serializers.IntegerField()
    number = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=SUBJECT_KINDS)
    subject_id = serializers.IntegerField()
    subject = serializers.CharField(help_text="Tag of what it is about.")
    unit_id = serializers.IntegerField(allow_null=True)
    floor = serializers.CharField()
    location = serializers.CharField()
    trade = serializers.ChoiceField(choices=TRADES)
    severity = serializers.ChoiceField(choices=SEVERITIES)
    text = serializers.CharField()
    state = serializers.ChoiceField(choices=PUNCH_STATES)
    due_date = serializers.DateField(allow_null=True)
    person_id = serializers.IntegerField(allow_null=True)
    person = serializers.CharField()
    opened_by = serializers.CharField()
    opened_at = serializers.DateTimeField()
    answered_at = serializers.DateTimeField(allow_null=True)
    verified_at = serializers.DateTimeField(allow_null=True)
    last_text = serializers.CharField()
    photos = serializers.IntegerField()
    checkout_point_id = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField()


class PunchDetailOut(PunchOut):
    """A punch item with what happened to it."""

    story = PunchStepOut(many=True)


class PunchIn(serializers.Serializer[Any]):
    """An item to open; sending the same ``client_key`` again opens nothing new."""

    kind = serializers.ChoiceField(choices=SUBJECT_KINDS)
    subject_id = serializers.IntegerField(min_value=1)
    trade = serializers.ChoiceField(choices=TRADES)
    text = serializers.CharField(max_length=2000)
    severity = serializers.ChoiceField(choices=SEVERITIES, default="mend")
    due_date = serializers.DateField(required=False, allow_null=True, default=None)
    person_id = serializers.IntegerField(required=False, allow_null=True, min_value=1, default=None)
    client_key = serializers.UUIDField()


class PunchChangeIn(serializers.Serializer[Any]):
    """What is to be changed of an open item; ``version`` says which state was seen."""

    version = serializers.IntegerField(min_value=1)
    trade = serializers.ChoiceField(choices=TRADES, required=False)
    text = serializers.CharField(max_length=2000, required=False)
    severity = serializers.ChoiceField(choices=SEVERITIES, required=False)
    due_date = serializers.DateField(required=False, allow_null=True)
    person_id = serializers.IntegerField(required=False, allow_null=True, min_value=1)


class PunchSayIn(serializers.Serializer[Any]):
    """Words with which an item is answered, verified or reopened."""

    version = serializers.IntegerField(min_value=1)
    text = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class PunchFileIn(serializers.Serializer[Any]):
    """A file of items; with ``take`` false it is only looked at."""

    file = serializers.FileField()
    take = serializers.BooleanField(default=False)


class PunchFileOut(serializers.Serializer[Any]):
    """What a file comes to, and how many items were opened."""

    good = serializers.IntegerField(help_text="Rows that can be opened.")
    known = serializers.ListField(child=serializers.CharField())
    wrong = serializers.ListField(child=serializers.CharField(), help_text="Each with its cell.")
    opened = serializers.IntegerField()
