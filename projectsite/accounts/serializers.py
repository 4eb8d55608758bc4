"""Shapes of people and projects in the API: answers and requests apart."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from projectsite.accounts.domain.types import LINK_STATES
from projectsite.accounts.models import (
    PROJECT_KEY,
    SIGN_IN_NAME,
    ProjectStatus,
    RoleChoice,
    TradeChoice,
    UnitSystemChoice,
)
from projectsite.accounts.operations.own import MAX_TOKEN_DAYS
from projectsite.core.serializers import QuantityField


class ProjectRowSerializer(serializers.Serializer[Any]):
    """A project in the list of one person."""

    key = serializers.CharField()
    number = serializers.CharField()
    name = serializers.CharField()
    site_address = serializers.CharField()
    status = serializers.ChoiceField(ProjectStatus.choices)
    role = serializers.ChoiceField(RoleChoice.choices)
    trade = serializers.ChoiceField(TradeChoice.choices, allow_blank=True)


class SettingsSerializer(serializers.Serializer[Any]):
    """Everything that the office can set of a project."""

    number = serializers.CharField(max_length=40, allow_blank=True)
    name = serializers.CharField(max_length=120)
    site_address = serializers.CharField(max_length=240, allow_blank=True)
    elevation_m = QuantityField("elevation", minimum=-500, maximum=6000)
    display_system = serializers.ChoiceField(UnitSystemChoice.choices)
    time_zone = serializers.CharField(max_length=64)
    status = serializers.ChoiceField(ProjectStatus.choices)
    unit_over_fraction = QuantityField("fraction", minimum=0, maximum=1)
    unit_under_fraction = QuantityField("fraction", minimum=0, maximum=1)
    outlet_over_fraction = QuantityField("fraction", minimum=0, maximum=1)
    outlet_under_fraction = QuantityField("fraction", minimum=0, maximum=1)
    tolerance_floor_m3_s = QuantityField("airflow", minimum=0)
    agreement_fraction = QuantityField("fraction", minimum=0.001, maximum=1)
    readable_pressure_pa = QuantityField("pressure", minimum=0.001)
    hood_minimum_m3_s = QuantityField("airflow", minimum=0)
    inlet_velocity_limit_m_s = QuantityField("velocity", minimum=0.1)
    guard_band = serializers.BooleanField()


class SettingsChangeSerializer(SettingsSerializer):
    """Settings to change; what is left out stays."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Take every field as optional."""
        fields = super().get_fields()
        for item in fields.values():
            item.required = False
        return fields


class ProjectSerializer(serializers.Serializer[Any]):
    """A project, the version that an edit must name, and the caller's role there."""

    key = serializers.CharField()
    version = serializers.IntegerField()
    created_at = serializers.DateTimeField()
    role = serializers.ChoiceField(RoleChoice.choices)
    actions = serializers.ListField(
        child=serializers.CharField(), help_text="What the caller may do in the project."
    )
    settings = SettingsSerializer()


class NewProjectSerializer(serializers.Serializer[Any]):
    """What a project needs to begin."""

    key = serializers.CharField(max_length=40, validators=[PROJECT_KEY])
    name = serializers.CharField(max_length=120)
    number = serializers.CharField(max_length=40, allow_blank=True, default="")
    site_address = serializers.CharField(max_length=240, allow_blank=True, default="")
    display_system = serializers.ChoiceField(UnitSystemChoice.choices)
    time_zone = serializers.CharField(max_length=64)
    elevation_m = QuantityField("elevation", minimum=-500, maximum=6000)


class ProjectPatchSerializer(serializers.Serializer[Any]):
    """Settings to change, with the version that the caller saw."""

    version = serializers.IntegerField(min_value=1)
    settings = SettingsChangeSerializer()


class MemberSerializer(serializers.Serializer[Any]):
    """A member of a project."""

    user_id = serializers.IntegerField()
    full_name = serializers.CharField()
    username = serializers.CharField()
    role = serializers.ChoiceField(RoleChoice.choices)
    trade = serializers.ChoiceField(TradeChoice.choices, allow_blank=True)
    is_active = serializers.BooleanField()
    created_at = serializers.DateTimeField()
    last_login = serializers.DateTimeField(allow_null=True)
    can_get_link = serializers.BooleanField(
        help_text="Whether the caller may issue a password link for this person."
    )


class RoleSerializer(serializers.Serializer[Any]):
    """Role of a person; an installer also has a trade."""

    role = serializers.ChoiceField(RoleChoice.choices)
    trade = serializers.ChoiceField(TradeChoice.choices, allow_blank=True, default="")


class InviteSerializer(RoleSerializer):
    """Whom to invite, and as what."""

    invited_name = serializers.CharField(max_length=120)


class LinkSerializer(serializers.Serializer[Any]):
    """A one-time link and what became of it; its code is never shown again."""

    id = serializers.IntegerField()
    invited_name = serializers.CharField()
    role = serializers.ChoiceField(RoleChoice.choices, allow_blank=True)
    trade = serializers.ChoiceField(TradeChoice.choices, allow_blank=True)
    is_for_password = serializers.BooleanField()
    state = serializers.ChoiceField(LINK_STATES)
    created_at = serializers.DateTimeField()
    created_by = serializers.CharField()
    expires_at = serializers.DateTimeField()
    used_at = serializers.DateTimeField(allow_null=True)
    used_by = serializers.CharField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class NewLinkSerializer(serializers.Serializer[Any]):
    """A one-time link, in the one answer that shows it."""

    id = serializers.IntegerField()
    address = serializers.CharField(help_text="The link itself; it is not kept.")


class AccountSerializer(serializers.Serializer[Any]):
    """The caller's own data."""

    id = serializers.IntegerField(read_only=True)
    username = serializers.CharField(read_only=True)
    full_name = serializers.CharField(max_length=120)
    reading_system = serializers.ChoiceField(UnitSystemChoice.choices, allow_blank=True)
    may_create_projects = serializers.BooleanField(read_only=True)


class PasswordSerializer(serializers.Serializer[Any]):
    """The password now and the new one."""

    old_password = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True)
    new_password = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True)


class TokenSerializer(serializers.Serializer[Any]):
    """A token that works."""

    id = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field may bear this name
    prefix = serializers.CharField()
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField(allow_null=True)
    last_used_at = serializers.DateTimeField(allow_null=True)


class NewTokenSerializer(serializers.Serializer[Any]):
    """What a new token is for and how long it works; null has no end."""

    label = serializers.CharField(max_length=80)  # type: ignore[assignment]  # as above
    days = serializers.IntegerField(
        min_value=1, max_value=MAX_TOKEN_DAYS, allow_null=True, default=90
    )


class ShownTokenSerializer(serializers.Serializer[Any]):
    """A token, in the one answer that shows it."""

    id = serializers.IntegerField()
    token = serializers.CharField(help_text="The token itself; only its digest is kept.")


class CodeSerializer(serializers.Serializer[Any]):
    """Code of a one-time link, as it stands after ``code=`` in its address."""

    code = serializers.CharField(max_length=100, write_only=True)


class NewPersonSerializer(CodeSerializer):
    """Code of a one-time link and what the new person chooses."""

    username = serializers.CharField(max_length=64, validators=[SIGN_IN_NAME])
    full_name = serializers.CharField(max_length=120)
    password = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True)


class ChosenPasswordSerializer(CodeSerializer):
    """Code of a password link and the new password."""

    password = serializers.CharField(max_length=256, trim_whitespace=False, write_only=True)


class JoinedSerializer(serializers.Serializer[Any]):
    """Who used the link, and the project it led to."""

    user_id = serializers.IntegerField()
    project_key = serializers.CharField(allow_blank=True)
