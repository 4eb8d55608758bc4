"""Air handlers, zones, terminal units and outlets of a project. Quantities in SI."""

from __future__ import annotations

import pghistory
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Upper

from zones.inventory.models.library import BoxInlet, ControllerModel

PROJECT = "accounts.Project"


def _bulk_history() -> tuple[pghistory.Tracker, ...]:
    """Events by statement; a new tuple each time, because trackers belong to one table.

    A schedule writes ten thousand rows at once, and a trigger for each row costs ten times as
    much as the row itself.
    """
    return (
        pghistory.InsertEvent(level=pghistory.Statement),
        pghistory.UpdateEvent(level=pghistory.Statement),
        pghistory.DeleteEvent(level=pghistory.Statement),
    )


class FanChoice(models.TextChoices):
    """Fan of a terminal unit."""

    NONE = "none", "none"
    PARALLEL = "parallel", "parallel"
    SERIES = "series", "series"


class HeatChoice(models.TextChoices):
    """Reheat of a terminal unit."""

    NONE = "none", "none"
    HOT_WATER = "hot-water", "hot water"
    ELECTRIC = "electric", "electric"


class OptionChoice(models.TextChoices):
    """Whether a unit has an option; empty while nobody has said."""

    YES = "yes", "yes"
    NO = "no", "no"


class OutletKind(models.TextChoices):
    """Kind of air outlet."""

    CEILING = "ceiling", "ceiling diffuser"
    SLOT = "slot", "slot diffuser"
    SIDEWALL = "sidewall", "sidewall register"
    FLOOR = "floor", "floor outlet"
    PERFORATED = "perforated", "perforated diffuser"
    OTHER = "other", "other"


@pghistory.track()
class AirHandler(models.Model):
    """An air handler and what it promises to its terminal units."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    tag = models.CharField(max_length=40)
    sort_key = models.CharField(max_length=200, editable=False)
    name = models.CharField(max_length=120, blank=True)
    design_supply_degc = models.FloatField("design supply temperature", null=True, blank=True)
    design_static_pa = models.FloatField("design duct static pressure", null=True, blank=True)
    design_m3_s = models.FloatField("design airflow", null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Upper("tag"),
                "project",
                name="airhandler_tag_unique",
                violation_error_message="There is an air handler with this tag already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="airhandler_project_id"),
            models.CheckConstraint(condition=~Q(tag=""), name="airhandler_tag_given"),
            models.CheckConstraint(
                condition=(Q(design_m3_s=None) | Q(design_m3_s__gt=0))
                & (Q(design_static_pa=None) | Q(design_static_pa__gt=0)),
                name="airhandler_positive",
                violation_error_message="Design airflow and static pressure must be above zero.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag


@pghistory.track(*_bulk_history())
class Zone(models.Model):
    """A zone that a terminal unit serves."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    tag = models.CharField(max_length=60)
    sort_key = models.CharField(max_length=200, editable=False)
    name = models.CharField(max_length=120, blank=True)
    floor = models.CharField(max_length=40, blank=True)
    area_m2 = models.FloatField("floor area", null=True, blank=True)
    population = models.FloatField(null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Upper("tag"),
                "project",
                name="zone_tag_unique",
                violation_error_message="There is a zone with this tag already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="zone_project_id"),
            models.CheckConstraint(condition=~Q(tag=""), name="zone_tag_given"),
            models.CheckConstraint(
                condition=(Q(area_m2=None) | Q(area_m2__gt=0))
                & (Q(population=None) | Q(population__gte=0)),
                name="zone_positive",
                violation_error_message="Area must be above zero and population not negative.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag


@pghistory.track(*_bulk_history())
class TerminalUnit(models.Model):
    """A terminal unit as scheduled."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    tag = models.CharField(max_length=60)
    sort_key = models.CharField(max_length=200, editable=False)
    air_handler = models.ForeignKey(
        AirHandler, on_delete=models.PROTECT, null=True, blank=True, related_name="units"
    )
    zone = models.ForeignKey(
        Zone, on_delete=models.PROTECT, null=True, blank=True, related_name="units"
    )
    floor = models.CharField(max_length=40, blank=True)
    location = models.CharField(max_length=120, blank=True)
    position_x_m = models.FloatField("position from the west", null=True, blank=True)
    position_y_m = models.FloatField("position from the south", null=True, blank=True)
    fan = models.CharField(max_length=10, choices=FanChoice, default=FanChoice.NONE)
    heat = models.CharField("reheat", max_length=10, choices=HeatChoice, default=HeatChoice.NONE)
    inlet = models.ForeignKey(
        BoxInlet, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    controller_model = models.ForeignKey(
        ControllerModel, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    cooling_max_m3_s = models.FloatField("cooling maximum", null=True, blank=True)
    cooling_min_m3_s = models.FloatField("cooling minimum", null=True, blank=True)
    heating_max_m3_s = models.FloatField("heating maximum", null=True, blank=True)
    heating_min_m3_s = models.FloatField("heating minimum", null=True, blank=True)
    standby_min_m3_s = models.FloatField("standby minimum", null=True, blank=True)
    water_flow_m3_s = models.FloatField("reheat water flow", null=True, blank=True)
    entering_water_degc = models.FloatField("entering water", null=True, blank=True)
    leaving_water_degc = models.FloatField("leaving water", null=True, blank=True)
    coil_rows = models.PositiveSmallIntegerField("coil rows", null=True, blank=True)
    valve_cv = models.FloatField("valve Cv", null=True, blank=True)
    heater_power_w = models.FloatField("heater power", null=True, blank=True)
    heater_voltage_v = models.FloatField("heater voltage", null=True, blank=True)
    heater_phases = models.PositiveSmallIntegerField("heater phases", null=True, blank=True)
    heater_stages = models.PositiveSmallIntegerField("heater stages", null=True, blank=True)
    discharge_limit_degc = models.FloatField("discharge limit", null=True, blank=True)
    discharge_sensor = models.CharField(
        "discharge sensor", max_length=3, choices=OptionChoice, blank=True
    )
    occupancy_sensor = models.CharField(
        "occupancy sensor", max_length=3, choices=OptionChoice, blank=True
    )
    network_number = models.PositiveIntegerField("network number", null=True, blank=True)
    mac_address = models.PositiveSmallIntegerField("MAC address", null=True, blank=True)
    device_instance = models.PositiveIntegerField("device instance", null=True, blank=True)
    note = models.TextField(blank=True)
    # Quantities as typed ("350 cfm"), by field name, for those that were typed.
    entered = models.JSONField(default=dict, blank=True)
    # Number of the schedule revision that last changed the unit; 0 when entered by hand.
    revision = models.PositiveIntegerField(default=0)
    source_import = models.ForeignKey(
        "inventory.ScheduleImport",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
    )
    source_row = models.PositiveIntegerField(null=True, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Upper("tag"),
                "project",
                name="terminalunit_tag_unique",
                violation_error_message="There is a unit with this tag already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="terminalunit_project_id"),
            models.CheckConstraint(condition=~Q(tag=""), name="terminalunit_tag_given"),
            models.CheckConstraint(
                condition=Q(fan__in=FanChoice.values), name="terminalunit_fan_known"
            ),
            models.CheckConstraint(
                condition=Q(heat__in=HeatChoice.values), name="terminalunit_heat_known"
            ),
            models.CheckConstraint(
                condition=Q(discharge_sensor__in=["", *OptionChoice.values])
                & Q(occupancy_sensor__in=["", *OptionChoice.values]),
                name="terminalunit_options_known",
            ),
            models.CheckConstraint(
                condition=(Q(cooling_max_m3_s=None) | Q(cooling_max_m3_s__gte=0))
                & (Q(cooling_min_m3_s=None) | Q(cooling_min_m3_s__gte=0))
                & (Q(heating_max_m3_s=None) | Q(heating_max_m3_s__gte=0))
                & (Q(heating_min_m3_s=None) | Q(heating_min_m3_s__gte=0))
                & (Q(standby_min_m3_s=None) | Q(standby_min_m3_s__gte=0)),
                name="terminalunit_flows_not_negative",
                violation_error_message="Airflows can't be negative.",
            ),
            models.CheckConstraint(
                condition=Q(cooling_max_m3_s=None)
                | Q(cooling_min_m3_s=None)
                | Q(cooling_min_m3_s__lte=F("cooling_max_m3_s")),
                name="terminalunit_cooling_ordered",
                violation_error_message="The cooling minimum is above the cooling maximum.",
            ),
            models.CheckConstraint(
                condition=Q(heating_max_m3_s=None)
                | Q(heating_min_m3_s=None)
                | Q(heating_min_m3_s__lte=F("heating_max_m3_s")),
                name="terminalunit_heating_ordered",
                violation_error_message="The heating minimum is above the heating maximum.",
            ),
            models.CheckConstraint(
                condition=(Q(heater_power_w=None) | Q(heater_power_w__gt=0))
                & (Q(heater_voltage_v=None) | Q(heater_voltage_v__gt=0))
                & (Q(heater_phases=None) | Q(heater_phases__in=[1, 3]))
                & (Q(water_flow_m3_s=None) | Q(water_flow_m3_s__gt=0)),
                name="terminalunit_heat_values",
                violation_error_message="Heater power, voltage and water flow must be above zero; "
                "phases are 1 or 3.",
            ),
            models.CheckConstraint(
                condition=(Q(mac_address=None) | Q(mac_address__lte=127))
                & (Q(device_instance=None) | Q(device_instance__lte=4_194_302))
                & (Q(network_number=None) | Q(network_number__gte=1, network_number__lte=65_534)),
                name="terminalunit_address_range",
                violation_error_message="MAC addresses of controllers end at 127, device instances "
                "at 4194302, network numbers at 65534.",
            ),
        ]
        indexes = [
            # Only what lists show: a page and its count read the index alone.
            models.Index(
                fields=["project", "sort_key", "id"],
                name="terminalunit_order",
                condition=Q(archived_at=None),
            ),
            models.Index(
                fields=["project", "floor"],
                name="terminalunit_floor",
                condition=Q(archived_at=None),
            ),
        ]

    def __str__(self) -> str:
        return self.tag


@pghistory.track(*_bulk_history())
class Outlet(models.Model):
    """An air outlet of a terminal unit."""

    project = models.ForeignKey(PROJECT, on_delete=models.CASCADE, related_name="+")
    unit = models.ForeignKey(TerminalUnit, on_delete=models.CASCADE, related_name="outlets")
    tag = models.CharField(max_length=40)
    sort_key = models.CharField(max_length=200, editable=False)
    kind = models.CharField(max_length=12, choices=OutletKind, default=OutletKind.CEILING)
    location = models.CharField(max_length=120, blank=True)
    design_m3_s = models.FloatField("design airflow", null=True, blank=True)
    # Traverse over hood for this kind of outlet; outside 0.85 to 1.15 the hood is doubtful.
    hood_factor = models.FloatField("hood factor", default=1.0)
    entered = models.JSONField(default=dict, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Upper("tag"),
                "unit",
                name="outlet_tag_unique",
                violation_error_message="This unit has an outlet with this tag already.",
            ),
            models.UniqueConstraint(fields=["project", "id"], name="outlet_project_id"),
            models.CheckConstraint(condition=~Q(tag=""), name="outlet_tag_given"),
            models.CheckConstraint(
                condition=Q(kind__in=OutletKind.values), name="outlet_kind_known"
            ),
            models.CheckConstraint(
                condition=(Q(design_m3_s=None) | Q(design_m3_s__gte=0))
                & Q(hood_factor__gte=0.5, hood_factor__lte=2.0),
                name="outlet_values",
                violation_error_message="Design airflow can't be negative; a hood factor lies "
                "between 0.5 and 2.",
            ),
        ]

    def __str__(self) -> str:
        return self.tag
