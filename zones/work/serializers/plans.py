"""What the API takes and gives of floor plans."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from projectsite.core.serializers import QuantityField
from zones.work.queries.plans import PlanFacts, PlanSheet

Plain = serializers.Serializer[Any]
PLAN_MARKS = (
    ("", "nothing to say"),
    ("wait", "waits or ready"),
    ("look", "in hand or worth a look"),
    ("done", "done or agrees"),
    ("hold", "holds or disagrees"),
)


class PlanIn(Plain):
    """A new plan of a floor."""

    floor = serializers.CharField(max_length=40, help_text="As the schedule writes it.")
    name = serializers.CharField(max_length=100, required=False, default="", allow_blank=True)
    file = serializers.FileField(help_text="A PDF or a picture, at most 30 MB.")
    page_number = serializers.IntegerField(
        required=False, default=1, min_value=1, max_value=9999, help_text="Page of a PDF, from 1."
    )
    keep_scale = serializers.BooleanField(
        required=False,
        default=False,
        help_text="Take scale and origin from the plan that the floor has now.",
    )


class PlanVersionIn(Plain):
    """Version of the plan that was seen."""

    version = serializers.IntegerField(required=False, min_value=0)


class PlanScaleIn(Plain):
    """Scale, origin or both; points count in pixels from the picture's upper left corner."""

    version = serializers.IntegerField(min_value=0, help_text="Version that is changed.")
    first_x_px = serializers.FloatField(required=False)
    first_y_px = serializers.FloatField(required=False)
    second_x_px = serializers.FloatField(required=False)
    second_y_px = serializers.FloatField(required=False)
    distance_m = QuantityField(
        "length", required=False, help_text="Between the two points of the scale."
    )
    origin_x_px = serializers.FloatField(required=False)
    origin_y_px = serializers.FloatField(required=False)

    SCALE = ("first_x_px", "first_y_px", "second_x_px", "second_y_px", "distance_m")
    ORIGIN = ("origin_x_px", "origin_y_px")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse half a scale, half an origin, and nothing at all."""
        for names in (self.SCALE, self.ORIGIN):
            missing = [name for name in names if name not in attrs]
            if 0 < len(missing) < len(names):
                raise serializers.ValidationError(dict.fromkeys(missing, "This is needed too."))
        if not any(name in attrs for name in (*self.SCALE, *self.ORIGIN)):
            raise serializers.ValidationError("Send a scale, an origin or both.")
        return attrs


class PlanOut(Plain):
    """A plan."""

    id = serializers.IntegerField()
    floor = serializers.CharField()
    name = serializers.CharField()
    file_name = serializers.CharField()
    page_number = serializers.IntegerField()
    width_px = serializers.IntegerField()
    height_px = serializers.IntegerField()
    first_x_px = serializers.FloatField(allow_null=True)
    first_y_px = serializers.FloatField(allow_null=True)
    second_x_px = serializers.FloatField(allow_null=True)
    second_y_px = serializers.FloatField(allow_null=True)
    distance_m = QuantityField("length", allow_null=True)
    distance_entered = serializers.CharField(help_text="The distance as typed.")
    m_per_px = serializers.FloatField(allow_null=True, help_text="Size of a pixel on the floor, m.")
    origin_x_px = serializers.FloatField(allow_null=True)
    origin_y_px = serializers.FloatField(allow_null=True)
    created_by = serializers.CharField()
    created_at = serializers.DateTimeField()
    archived_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class PlanPointOut(Plain):
    """A unit of the floor and what the plan shows of it."""

    unit_id = serializers.IntegerField()
    tag = serializers.CharField()
    x_m = QuantityField("length", allow_null=True, help_text="From the origin to the east.")
    y_m = QuantityField("length", allow_null=True, help_text="From the origin to the north.")
    x_px = serializers.FloatField(allow_null=True, help_text="Null without a position or a scale.")
    y_px = serializers.FloatField(allow_null=True)
    is_outside = serializers.BooleanField(help_text="The position lies beside the picture.")
    mark = serializers.ChoiceField(choices=list(PLAN_MARKS))
    word = serializers.CharField()
    version = serializers.IntegerField(help_text="Version of the unit.")


class PlanSheetOut(PlanOut):
    """A plan with its units."""

    view = serializers.CharField(help_text="What the marks show.")
    views = serializers.DictField(child=serializers.CharField(), help_text="Every view in words.")
    points = PlanPointOut(many=True)
    walk = serializers.ListField(
        child=serializers.IntegerField(), help_text="Ids of the placed units in walking order."
    )


def plan_given(plan: PlanFacts) -> dict[str, Any]:
    """A plan as plain values."""
    first, second = plan.first_px or (None, None), plan.second_px or (None, None)
    origin = plan.origin_px or (None, None)
    return {
        "id": plan.id,
        "floor": plan.floor,
        "name": plan.name,
        "file_name": plan.file_name,
        "page_number": plan.page_number,
        "width_px": plan.width_px,
        "height_px": plan.height_px,
        "first_x_px": first[0],
        "first_y_px": first[1],
        "second_x_px": second[0],
        "second_y_px": second[1],
        "distance_m": plan.distance_m,
        "distance_entered": plan.entered.get("distance_m", ""),
        "m_per_px": plan.m_per_px,
        "origin_x_px": origin[0],
        "origin_y_px": origin[1],
        "created_by": plan.created_by,
        "created_at": plan.created_at,
        "archived_at": plan.archived_at,
        "version": plan.version,
    }


def sheet_given(sheet: PlanSheet) -> dict[str, Any]:
    """A plan with its units as plain values."""
    return {
        **plan_given(sheet.plan),
        "view": sheet.view,
        "views": dict(sheet.views),
        "points": [
            {
                "unit_id": point.unit_id,
                "tag": point.tag,
                "x_m": None if point.place_m is None else point.place_m[0],
                "y_m": None if point.place_m is None else point.place_m[1],
                "x_px": point.x_px,
                "y_px": point.y_px,
                "is_outside": point.is_outside,
                "mark": point.state,
                "word": point.word,
                "version": point.version,
            }
            for point in sheet.points
        ],
        "walk": list(sheet.walk),
    }
