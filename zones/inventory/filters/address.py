"""Which rows an address asks for: one reading of it for pages and API."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from projectsite.core.errors import InvalidInput
from zones.inventory.domain.fields import FANS, HEATS, OUTLET_KINDS
from zones.inventory.queries import OutletFilter, UnitFilter

_YES = {"1", "yes", "true", "on"}
_NO = {"", "0", "no", "false", "off"}
_LARGEST = 2**31 - 1
Type = Literal["text", "number", "choice", "yes"]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One filter of a list: its name in the address, what it takes, and in words."""

    name: str
    type: Type
    help: str
    choices: tuple[str, ...] = ()


UNIT_PARAMETERS = (
    Parameter("q", "text", "Part of the tag, location, note, zone tag or zone name."),
    Parameter("air_handler", "number", "Id of an air handler."),
    Parameter("zone", "number", "Id of a zone."),
    Parameter("floor", "text", "Floor, exactly as written."),
    Parameter("heat", "choice", "Kind of reheat.", tuple(value for value, _ in HEATS)),
    Parameter("fan", "choice", "Kind of fan.", tuple(value for value, _ in FANS)),
    Parameter("inlet", "text", "Inlet size as written in the library."),
    Parameter("controller_model", "number", "Id of a controller model."),
    Parameter("revision", "number", "Schedule revision that last changed the unit."),
    Parameter("archived", "yes", "Archived units instead of those in use."),
)
OUTLET_PARAMETERS = (
    Parameter("q", "text", "Part of the outlet's or the unit's tag."),
    Parameter("unit", "number", "Id of a terminal unit."),
    Parameter("air_handler", "number", "Id of an air handler."),
    Parameter("kind", "choice", "Kind of outlet.", tuple(value for value, _ in OUTLET_KINDS)),
    Parameter("archived", "yes", "Archived outlets instead of those in use."),
)
ZONE_PARAMETERS = (
    Parameter("q", "text", "Part of the tag or name."),
    Parameter("floor", "text", "Floor, exactly as written."),
    Parameter("archived", "yes", "Archived zones instead of those in use."),
)
AIR_HANDLER_PARAMETERS = (
    Parameter("q", "text", "Part of the tag or name."),
    Parameter("archived", "yes", "Archived air handlers instead of those in use."),
)
ARCHIVED = (Parameter("archived", "yes", "Archived entries instead of those offered."),)


@dataclass(slots=True)
class Read:
    """What an address asked for, and what in it could not be understood."""

    values: dict[str, str | int | bool] = field(default_factory=dict)
    problems: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Value of a text or choice filter, "" when not asked."""
        return str(self.values.get(name, ""))

    def number(self, name: str) -> int | None:
        """Value of a number filter."""
        value = self.values.get(name)
        return value if isinstance(value, int) else None

    def is_on(self, name: str) -> bool:
        """Tell whether a yes-or-no filter is set."""
        return bool(self.values.get(name, False))

    def strict(self) -> Read:
        """Refuse what could not be understood, with a message by parameter."""
        if self.problems:
            told = " ".join(f"{name}: {message}" for name, message in self.problems.items())
            raise InvalidInput(told, fields=self.problems)
        return self


def read(query: Mapping[str, str], parameters: tuple[Parameter, ...]) -> Read:
    """Read the filters of an address; a page shows what it can, the API is ``strict()``."""
    found = Read()
    for parameter in parameters:
        given = query.get(parameter.name, "").strip()
        if parameter.type == "yes":
            if given.lower() not in _YES | _NO:
                found.problems[parameter.name] = "Say yes or no."
            found.values[parameter.name] = given.lower() in _YES
        elif not given:
            continue
        elif parameter.type == "number":
            if given.isascii() and given.isdigit() and int(given) <= _LARGEST:
                found.values[parameter.name] = int(given)
            else:
                found.problems[parameter.name] = "Give a whole number."
        elif parameter.type == "choice" and given not in parameter.choices:
            found.problems[parameter.name] = f"Choose one of: {', '.join(parameter.choices)}."
        elif "\x00" in given or len(given) > 200:
            found.problems[parameter.name] = "This text can't be searched for."
        else:
            found.values[parameter.name] = given
    return found


def unit_filter(read_values: Read) -> UnitFilter:
    """Which units the address asks for."""
    values = read_values
    return UnitFilter(
        text=values.text("q"),
        air_handler=values.number("air_handler"),
        zone=values.number("zone"),
        floor=values.text("floor") or None,
        heat=values.text("heat"),
        fan=values.text("fan"),
        inlet=values.text("inlet"),
        controller_model=values.number("controller_model"),
        revision=values.number("revision"),
        archived=values.is_on("archived"),
    )


def outlet_filter(values: Read) -> OutletFilter:
    """Which outlets the address asks for."""
    return OutletFilter(
        text=values.text("q"),
        unit=values.number("unit"),
        air_handler=values.number("air_handler"),
        kind=values.text("kind"),
        archived=values.is_on("archived"),
    )
