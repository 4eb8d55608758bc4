"""What pages and the API read of people and projects. Quantities in SI."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

ROLE_WORDS = {
    "office": "Office",
    "controls": "Controls technician",
    "balancer": "Balancer",
    "installer": "Installer",
    "owner": "Owner’s representative",
}
LINK_STATES = (
    ("open", "open"),
    ("used", "used"),
    ("withdrawn", "withdrawn"),
    ("expired", "expired"),
)
STATUS_WORDS = {"active": "In work", "turned-over": "Turned over", "closed": "Closed"}


@dataclass(frozen=True, slots=True)
class ProjectRow:
    """A project in the list of one person."""

    key: str
    number: str
    name: str
    site_address: str
    status: str
    role: str
    trade: str

    @property
    def role_word(self) -> str:
        """Role in words."""
        return ROLE_WORDS.get(self.role, "")

    @property
    def status_word(self) -> str:
        """Status in words."""
        return STATUS_WORDS[self.status]


@dataclass(frozen=True, slots=True)
class ProjectSettings:
    """Everything that the office can set of a project.

    Fractions are shares of the design value; the names end in the SI unit.
    """

    number: str
    name: str
    site_address: str
    elevation_m: float
    display_system: str
    time_zone: str
    status: str
    unit_over_fraction: float
    unit_under_fraction: float
    outlet_over_fraction: float
    outlet_under_fraction: float
    tolerance_floor_m3_s: float
    agreement_fraction: float
    readable_pressure_pa: float
    hood_minimum_m3_s: float
    inlet_velocity_limit_m_s: float
    guard_band: bool

    @property
    def status_word(self) -> str:
        """Status in words."""
        return STATUS_WORDS[self.status]


@dataclass(frozen=True, slots=True)
class ProjectRecord:
    """A project as stored, with the version that an edit must name."""

    key: str
    version: int
    created_at: datetime
    settings: ProjectSettings


@dataclass(frozen=True, slots=True)
class MemberRow:
    """A member of a project; ``can_get_link`` tells whether a password link may be issued."""

    user_id: int
    full_name: str
    username: str
    role: str
    trade: str
    is_active: bool
    created_at: datetime
    last_login: datetime | None
    can_get_link: bool

    @property
    def role_word(self) -> str:
        """Role in words."""
        return ROLE_WORDS.get(self.role, "")


@dataclass(frozen=True, slots=True)
class LinkRow:
    """A one-time link of a project and what became of it."""

    id: int
    invited_name: str
    role: str
    trade: str
    is_for_password: bool
    state: str
    created_at: datetime
    created_by: str
    expires_at: datetime
    used_at: datetime | None
    used_by: str
    withdrawn_at: datetime | None

    @property
    def role_word(self) -> str:
        """Role in words."""
        return ROLE_WORDS.get(self.role, "")


@dataclass(frozen=True, slots=True)
class OpenLink:
    """A one-time link that still works, as the person who holds it may see it.

    ``username`` is the sign-in name whose password it changes, or "".
    """

    invited_name: str
    project_key: str
    project_name: str
    role: str
    trade: str
    username: str
    invited_by: str
    expires_at: datetime

    @property
    def role_word(self) -> str:
        """Role in words."""
        return ROLE_WORDS.get(self.role, "")


@dataclass(frozen=True, slots=True)
class TokenRow:
    """An API token in the list of its owner."""

    id: int
    label: str
    prefix: str
    created_at: datetime
    expires_at: datetime | None
    last_used_at: datetime | None


@dataclass(frozen=True, slots=True)
class Account:
    """A person's own data."""

    id: int
    username: str
    full_name: str
    reading_system: str
    may_create_projects: bool
