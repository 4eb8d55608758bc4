"""People, projects, memberships, invitations and API tokens."""

from __future__ import annotations

from typing import ClassVar

import pghistory
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

SIGN_IN_NAME = RegexValidator(
    r"^[A-Za-z0-9][A-Za-z0-9._@+-]{1,63}$",
    "Use 2 to 64 letters, digits and . _ @ + - and begin with a letter or digit.",
)
PROJECT_KEY = RegexValidator(
    r"^[a-z0-9][a-z0-9-]{1,39}$", "Use 2 to 40 small letters, digits and hyphens."
)


class UnitSystemChoice(models.TextChoices):
    """Units in which a project is kept or a person reads."""

    IP = "ip", "inch-pound"
    SI = "si", "SI"


class RoleChoice(models.TextChoices):
    """What a person is in one project."""

    OFFICE = "office", "Office"
    CONTROLS = "controls", "Controls technician"
    BALANCER = "balancer", "Balancer"
    INSTALLER = "installer", "Installer"
    OWNER = "owner", "Owner’s representative"


class TradeChoice(models.TextChoices):
    """Trade of an installer."""

    MECHANICAL = "mechanical", "Mechanical"
    ELECTRICAL = "electrical", "Electrical"


class ProjectStatus(models.TextChoices):
    """Where a project stands."""

    ACTIVE = "active", "In work"
    TURNED_OVER = "turned-over", "Turned over"
    CLOSED = "closed", "Closed"


class UserManager(BaseUserManager["User"]):
    """Looks people up by sign-in name, whatever its case."""

    def get_by_natural_key(self, username: str | None) -> User:
        """Find the person who signs in with this name."""
        return self.get(username__iexact=username)


class User(AbstractBaseUser):
    """A person who can sign in."""

    username = models.CharField(
        "sign-in name", max_length=64, unique=True, validators=[SIGN_IN_NAME]
    )
    full_name = models.CharField("full name", max_length=120)
    reading_system = models.CharField(
        "units for reading", max_length=2, choices=UnitSystemChoice, blank=True
    )
    may_create_projects = models.BooleanField("may create projects", default=False)
    is_active = models.BooleanField("may sign in", default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("username"),
                name="user_username_unique",
                violation_error_message="This sign-in name is taken.",
            ),
            models.CheckConstraint(
                condition=Q(reading_system__in=["", *UnitSystemChoice.values]),
                name="user_reading_system_known",
            ),
            models.CheckConstraint(condition=~Q(full_name=""), name="user_full_name_given"),
        ]

    def __str__(self) -> str:
        return self.full_name


@pghistory.track()
class Project(models.Model):
    """A building project with its units, site and tolerances (SI)."""

    key = models.CharField(
        "short name in addresses", max_length=40, unique=True, validators=[PROJECT_KEY]
    )
    number = models.CharField("project number", max_length=40, blank=True)
    name = models.CharField("project name", max_length=120)
    site_address = models.CharField("site address", max_length=240, blank=True)
    elevation_m = models.FloatField("elevation of the site", default=0.0)
    display_system = models.CharField(
        "units of the project", max_length=2, choices=UnitSystemChoice, default=UnitSystemChoice.IP
    )
    time_zone = models.CharField("time zone", max_length=64, default="UTC")
    status = models.CharField(max_length=16, choices=ProjectStatus, default=ProjectStatus.ACTIVE)

    # Shares of design unless the name says otherwise; ±10 % of design is a usual specification
    # limit (public bid text, California), 10 cfm for outlets below 100 cfm is from memory.
    unit_over_fraction = models.FloatField("unit airflow above design", default=0.10)
    unit_under_fraction = models.FloatField("unit airflow below design", default=0.10)
    outlet_over_fraction = models.FloatField("outlet airflow above design", default=0.10)
    outlet_under_fraction = models.FloatField("outlet airflow below design", default=0.10)
    tolerance_floor_m3_s = models.FloatField("deviation always allowed", default=0.0)
    agreement_fraction = models.FloatField("reported against measured", default=0.05)
    # 0.004 in. w.c. (from memory); shown beside the makers' own figure where one is known.
    readable_pressure_pa = models.FloatField("lowest readable pressure", default=0.99635564)
    hood_minimum_m3_s = models.FloatField("smallest flow for a hood", default=0.02359737216)
    inlet_velocity_limit_m_s = models.FloatField("highest inlet velocity", default=10.16)
    guard_band = models.BooleanField("reduce tolerances by the uncertainty", default=False)
    created_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(display_system__in=UnitSystemChoice.values),
                name="project_display_system_known",
            ),
            models.CheckConstraint(
                condition=Q(status__in=ProjectStatus.values), name="project_status_known"
            ),
            models.CheckConstraint(condition=~Q(name=""), name="project_name_given"),
            models.CheckConstraint(
                condition=Q(elevation_m__gte=-500) & Q(elevation_m__lte=6000),
                name="project_elevation_range",
                violation_error_message="The elevation lies outside -500 m to 6000 m.",
            ),
            models.CheckConstraint(
                condition=Q(unit_over_fraction__gte=0, unit_over_fraction__lte=1)
                & Q(unit_under_fraction__gte=0, unit_under_fraction__lte=1)
                & Q(outlet_over_fraction__gte=0, outlet_over_fraction__lte=1)
                & Q(outlet_under_fraction__gte=0, outlet_under_fraction__lte=1)
                & Q(agreement_fraction__gt=0, agreement_fraction__lte=1)
                & Q(tolerance_floor_m3_s__gte=0),
                name="project_tolerances_range",
                violation_error_message="Tolerances lie between 0 % and 100 %.",
            ),
            models.CheckConstraint(
                condition=Q(readable_pressure_pa__gt=0)
                & Q(hood_minimum_m3_s__gte=0)
                & Q(inlet_velocity_limit_m_s__gt=0),
                name="project_limits_positive",
                violation_error_message="Limits must be above zero.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Membership(models.Model):
    """A person's role in one project."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    project = models.ForeignKey(Project, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=12, choices=RoleChoice)
    trade = models.CharField(max_length=12, choices=TradeChoice, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "project"],
                name="membership_user_project_unique",
                violation_error_message="This person is a member already.",
            ),
            models.CheckConstraint(
                condition=Q(role__in=RoleChoice.values), name="membership_role_known"
            ),
            models.CheckConstraint(
                condition=Q(role="installer", trade__in=TradeChoice.values)
                | (~Q(role="installer") & Q(trade="")),
                name="membership_trade_of_installer",
                violation_error_message="An installer has a trade; nobody else does.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} in {self.project}: {self.role}"


class Invitation(models.Model):
    """A one-time link.

    It lets someone join a project; or, with ``password_of``, lets a member choose a new
    password; or, without a project, makes the first person of the site.
    """

    project = models.ForeignKey(Project, on_delete=models.CASCADE, null=True)
    role = models.CharField(max_length=12, choices=RoleChoice, blank=True)
    trade = models.CharField(max_length=12, choices=TradeChoice, blank=True)
    invited_name = models.CharField("who is invited", max_length=120)
    password_of = models.ForeignKey(
        User, on_delete=models.CASCADE, null=True, blank=True, related_name="+"
    )
    digest = models.CharField(max_length=64, unique=True)
    created_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)
    used_by = models.ForeignKey(User, on_delete=models.SET_NULL, null=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(project=None, role="", password_of=None)
                | Q(project__isnull=False, role="", password_of__isnull=False)
                | Q(project__isnull=False, role__in=RoleChoice.values, password_of=None),
                name="invitation_purpose_clear",
            ),
            models.CheckConstraint(
                condition=Q(role="installer", trade__in=TradeChoice.values)
                | (~Q(role="installer") & Q(trade="")),
                name="invitation_trade_of_installer",
                violation_error_message="An installer has a trade; nobody else does.",
            ),
            models.CheckConstraint(
                condition=Q(used_at=None) | Q(withdrawn_at=None),
                name="invitation_used_or_withdrawn",
            ),
            models.CheckConstraint(condition=~Q(invited_name=""), name="invitation_name_given"),
            models.CheckConstraint(
                condition=Q(expires_at__gt=models.F("created_at")), name="invitation_expires_later"
            ),
        ]

    def __str__(self) -> str:
        return self.invited_name


class ApiToken(models.Model):
    """A key with which a program acts for a person; only its digest is kept."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="api_tokens")
    label = models.CharField("what it is for", max_length=80)
    prefix = models.CharField(max_length=12)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True)
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(label=""), name="apitoken_label_given"),
        ]

    def __str__(self) -> str:
        return f"{self.label} ({self.prefix}…)"
