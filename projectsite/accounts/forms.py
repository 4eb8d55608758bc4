"""Forms of the account, people and project pages."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from projectsite.accounts.domain.types import ProjectRecord, ProjectSettings
from projectsite.accounts.models import (
    PROJECT_KEY,
    SIGN_IN_NAME,
    ProjectStatus,
    RoleChoice,
    TradeChoice,
    UnitSystemChoice,
    User,
)
from projectsite.core.errors import ApplicationError
from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.scope import UnitSystem
from projectsite.core.units import Entered

PASSWORD_HELP = "At least 10 characters, not a common one and not like your name."  # noqa: S105  # a hint
MAX_PASSWORD = 256


def _password(label: str, *, is_new: bool) -> forms.CharField:
    attrs = {"autocomplete": "new-password" if is_new else "current-password"}
    return forms.CharField(
        label=label,
        strip=False,
        max_length=MAX_PASSWORD,
        widget=forms.PasswordInput(attrs),
        help_text=PASSWORD_HELP if is_new else "",
    )


class PlainForm(forms.Form):
    """A form that can show a refusal of an operation."""

    def refuse(self, error: ApplicationError) -> None:
        """Show a refusal beside its fields, or above the form."""
        for name, message in error.fields.items():
            self.add_error(name if name in self.fields else None, message)
        if not error.fields:
            self.add_error(None, error.message)


class SignInForm(PlainForm):
    """Sign-in name and password."""

    username = forms.CharField(
        label="Sign-in name",
        max_length=64,
        widget=forms.TextInput(
            {"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = _password("Password", is_new=False)

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.user: User | None = None

    def clean_username(self) -> str:
        """Fold the case, so that the throttle counts one name as one name."""
        return str(self.cleaned_data["username"]).strip().casefold()

    def clean(self) -> dict[str, Any]:
        """Check the password; the throttle listens."""
        values = super().clean() or self.cleaned_data
        if "username" in values and "password" in values:
            found = authenticate(
                self.request, username=values["username"], password=values["password"]
            )
            if not isinstance(found, User):
                raise forms.ValidationError("Name or password is wrong. Nothing else was checked.")
            self.user = found
        return values


class AccountForm(PlainForm):
    """Own name and units."""

    full_name = forms.CharField(
        label="Full name", max_length=120, widget=forms.TextInput({"autocomplete": "name"})
    )
    reading_system = forms.ChoiceField(
        label="Units for reading",
        required=False,
        choices=[("", "as each project is kept"), *UnitSystemChoice.choices],
        help_text="Changes what you read, never what is stored.",
    )


class ChangePasswordForm(PlainForm):
    """Old password and the new one, twice."""

    old_password = _password("Your password now", is_new=False)
    new_password = _password("New password", is_new=True)
    again = _password("New password again", is_new=False)

    def clean(self) -> dict[str, Any]:
        """Refuse when the two differ."""
        return _same_twice(self, "new_password")


class TokenForm(PlainForm):
    """What a new token is for and how long it works."""

    label = forms.CharField(label="What it is for", max_length=80)
    days = forms.TypedChoiceField(
        label="Works for",
        coerce=int,
        empty_value=None,
        required=False,
        initial="90",
        choices=[("30", "30 days"), ("90", "90 days"), ("365", "one year"), ("", "no end")],
    )


class RoleForm(PlainForm):
    """Role and trade of a person."""

    role = forms.ChoiceField(label="Role", choices=RoleChoice.choices)
    trade = forms.ChoiceField(
        label="Trade",
        required=False,
        choices=[("", "—"), *TradeChoice.choices],
        help_text="Only for an installer.",
    )


class InviteForm(RoleForm):
    """Whom to invite, and as what."""

    invited_name = forms.CharField(
        label="Who is invited",
        max_length=120,
        help_text="So that you know later whose link it was.",
    )
    field_order = ["invited_name", "role", "trade"]


class JoinForm(PlainForm):
    """What a new person chooses."""

    full_name = forms.CharField(
        label="Full name", max_length=120, widget=forms.TextInput({"autocomplete": "name"})
    )
    username = forms.CharField(
        label="Sign-in name",
        max_length=64,
        validators=[SIGN_IN_NAME],
        widget=forms.TextInput(
            {"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
        help_text="2 to 64 letters, digits and . _ @ + -",
    )
    password = _password("Password", is_new=True)
    again = _password("Password again", is_new=False)

    def clean(self) -> dict[str, Any]:
        """Refuse when the two passwords differ."""
        return _same_twice(self, "password")


class ChoosePasswordForm(PlainForm):
    """A new password, twice, for the holder of a password link."""

    password = _password("New password", is_new=True)
    again = _password("New password again", is_new=False)

    def clean(self) -> dict[str, Any]:
        """Refuse when the two differ."""
        return _same_twice(self, "password")


def _same_twice(form: forms.Form, name: str) -> dict[str, Any]:
    values = form.cleaned_data
    if values.get(name) and values.get("again") and values[name] != values["again"]:
        form.add_error("again", "The two differ. Type the new password twice.")
    return values


def _zones() -> list[tuple[str, str]]:
    names = sorted(name for name in available_timezones() if "/" in name or name == "UTC")
    return [(name, name) for name in names if not name.startswith(("Etc/", "posix/", "right/"))]


class NewProjectForm(QuantityForm):
    """What a project needs to begin; tolerances follow on its settings page."""

    name = forms.CharField(label="Project name", max_length=120)
    number = forms.CharField(label="Project number", max_length=40, required=False)
    key = forms.CharField(
        label="Short name in addresses",
        max_length=40,
        validators=[PROJECT_KEY],
        help_text="Small letters, digits and hyphens, such as alder-library. It stays.",
    )
    site_address = forms.CharField(label="Site address", max_length=240, required=False)
    display_system = forms.ChoiceField(
        label="Units of the project", choices=UnitSystemChoice.choices
    )
    time_zone = forms.ChoiceField(label="Time zone", choices=_zones, initial="UTC")
    elevation_m = QuantityField(
        "elevation",
        label="Elevation of the site",
        minimum=-500,
        maximum=6000,
        help_text="Air is thinner higher up; readings are corrected for it.",
    )


class SettingsForm(QuantityForm):
    """Everything that the office can set of a project."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    name = forms.CharField(label="Project name", max_length=120)
    number = forms.CharField(label="Project number", max_length=40, required=False)
    site_address = forms.CharField(label="Site address", max_length=240, required=False)
    status = forms.ChoiceField(label="Status", choices=ProjectStatus.choices)
    display_system = forms.ChoiceField(
        label="Units of the project", choices=UnitSystemChoice.choices
    )
    time_zone = forms.ChoiceField(label="Time zone", choices=_zones)
    elevation_m = QuantityField(
        "elevation", label="Elevation of the site", minimum=-500, maximum=6000
    )
    unit_over_fraction = QuantityField(
        "fraction", label="Terminal unit above design", minimum=0, maximum=1
    )
    unit_under_fraction = QuantityField(
        "fraction", label="Terminal unit below design", minimum=0, maximum=1
    )
    outlet_over_fraction = QuantityField(
        "fraction", label="Outlet above design", minimum=0, maximum=1
    )
    outlet_under_fraction = QuantityField(
        "fraction", label="Outlet below design", minimum=0, maximum=1
    )
    tolerance_floor_m3_s = QuantityField(
        "airflow",
        label="Always allowed",
        minimum=0,
        help_text="A deviation this small passes whatever the share says.",
    )
    agreement_fraction = QuantityField(
        "fraction", label="Reported against measured", minimum=0.001, maximum=1
    )
    readable_pressure_pa = QuantityField(
        "pressure",
        label="Lowest readable pressure",
        minimum=0.001,
        help_text="Used where the controller model says nothing.",
    )
    hood_minimum_m3_s = QuantityField("airflow", label="Smallest flow for a hood", minimum=0)
    inlet_velocity_limit_m_s = QuantityField(
        "velocity", label="Highest inlet velocity", minimum=0.1
    )
    guard_band = forms.BooleanField(
        label="Reduce tolerances by the uncertainty of the reading", required=False
    )

    GROUPS = (
        ("Project", ("name", "number", "site_address", "status")),
        ("Site", ("display_system", "time_zone", "elevation_m")),
        (
            "Allowed deviation from design",
            (
                "unit_over_fraction",
                "unit_under_fraction",
                "outlet_over_fraction",
                "outlet_under_fraction",
                "tolerance_floor_m3_s",
                "guard_band",
            ),
        ),
        (
            "Readings",
            (
                "agreement_fraction",
                "readable_pressure_pa",
                "hood_minimum_m3_s",
                "inlet_velocity_limit_m_s",
            ),
        ),
    )

    @classmethod
    def of(cls, record: ProjectRecord, *, system: UnitSystem, data: Any = None) -> SettingsForm:
        """Make the form of a project, filled in with what is stored."""
        stored = {name: getattr(record.settings, name) for name in ProjectSettings.__slots__}
        return cls(data, system=system, initial={**stored, "version": record.version})

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Fields under their headings."""
        return [(title, [self[name] for name in names]) for title, names in self.GROUPS]

    def settings(self) -> ProjectSettings:
        """Give what was typed; a quantity left as it was shown stays exactly as it is stored."""
        values = {name: self.cleaned_data[name] for name in ProjectSettings.__slots__}
        for name, value in values.items():
            if isinstance(value, Entered):
                values[name] = self._stored_or(name, value)
        return ProjectSettings(**values)

    def _stored_or(self, name: str, typed: Entered) -> float:
        shown = self.fields[name].prepare_value(self.initial.get(name))
        was_left = str(self.data.get(name, "")).strip() == str(shown)
        return float(self.initial[name]) if was_left else typed.value

    def show_stored(self, record: ProjectRecord, names: list[str]) -> None:
        """Say beside each of these fields what is stored now, and take the new version along."""
        for name in names:
            field = self.fields[name]
            shown = field.prepare_value(getattr(record.settings, name))
            unit = getattr(field, "unit", "")
            self.add_error(name, f"Stored now: {shown} {unit}".rstrip() + ".")
        self.data = {**{name: self.data.get(name) for name in self.data}, "version": record.version}
