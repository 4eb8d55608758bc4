"""Forms of floor plans: upload, scale by two points, origin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.datastructures import MultiValueDict

from projectsite.core.forms import QuantityField, QuantityForm
from projectsite.core.scope import UnitSystem
from projectsite.core.units import Entered
from zones.work.domain.plan import Place
from zones.work.operations.plans import MAX_PLAN_BYTES
from zones.work.queries.plans import PlanFacts

_POINT = {"step": "any", "inputmode": "decimal", "autocomplete": "off"}


class PlanForm(QuantityForm):
    """The file of a plan and the floor that it shows."""

    floor = forms.CharField(
        label="Floor",
        max_length=40,
        help_text="As the schedule writes it; the units of this floor stand on the plan.",
        widget=forms.TextInput({"list": "floors", "autocomplete": "off"}),
    )
    name = forms.CharField(
        label="Name", max_length=100, required=False, help_text="Sheet number or title."
    )
    file = forms.FileField(
        label="Plan",
        help_text=f"A PDF or a picture (PNG, JPEG), at most {MAX_PLAN_BYTES // 1024**2} MB.",
        error_messages={
            "empty": "The file is empty (0 bytes). Upload the plan itself.",
            "required": "Choose the file of the plan.",
        },
        widget=forms.ClearableFileInput(attrs={"accept": ".pdf,.png,.jpg,.jpeg"}),
    )
    page_number = forms.IntegerField(
        label="Page of the PDF", min_value=1, max_value=9999, initial=1, required=False
    )
    keep_scale = forms.BooleanField(
        label="Keep scale and origin of the plan that this floor has now", required=False
    )

    def clean_file(self) -> UploadedFile[Any]:
        """Refuse a file that is too large before it is read."""
        file: UploadedFile[Any] = self.cleaned_data["file"]
        if (file.size or 0) > MAX_PLAN_BYTES:
            raise forms.ValidationError(f"At most {MAX_PLAN_BYTES // 1024**2} MB are accepted.")
        return file

    def values(self) -> dict[str, Any]:
        """What the operation takes."""
        given = dict(self.cleaned_data)
        file = given.pop("file")
        given["page_number"] = given["page_number"] or 1
        return {**given, "content": file.read(), "file_name": file.name or "plan"}


def plan_form(
    data: Mapping[str, Any] | None,
    files: MultiValueDict[str, UploadedFile[Any]] | None,
    *,
    system: UnitSystem,
    floor: str = "",
) -> PlanForm:
    """Form of a new plan, for this floor."""
    return PlanForm(data, files, system=system, initial={"floor": floor})


class ScaleForm(QuantityForm):
    """Two points of the picture and the distance between them."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    first_x_px = forms.FloatField(
        label="First point, from the left", min_value=0, widget=forms.NumberInput(_POINT)
    )
    first_y_px = forms.FloatField(
        label="First point, from the top", min_value=0, widget=forms.NumberInput(_POINT)
    )
    second_x_px = forms.FloatField(
        label="Second point, from the left", min_value=0, widget=forms.NumberInput(_POINT)
    )
    second_y_px = forms.FloatField(
        label="Second point, from the top", min_value=0, widget=forms.NumberInput(_POINT)
    )
    distance_m = QuantityField("length", label="Distance between them")

    def points(self) -> tuple[Place, Place]:
        """The two points [px]."""
        found = self.cleaned_data
        return (
            (found["first_x_px"], found["first_y_px"]),
            (found["second_x_px"], found["second_y_px"]),
        )


class OriginForm(QuantityForm):
    """The point of the picture from which positions count."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    origin_x_px = forms.FloatField(label="From the left", widget=forms.NumberInput(_POINT))
    origin_y_px = forms.FloatField(label="From the top", widget=forms.NumberInput(_POINT))


def scale_form(data: Mapping[str, Any] | None, plan: PlanFacts, system: UnitSystem) -> ScaleForm:
    """Form of a plan's scale, with what is set."""
    first, second = plan.first_px or (None, None), plan.second_px or (None, None)
    text = plan.entered.get("distance_m", "")
    distance = plan.distance_m
    initial = {
        "version": plan.version,
        "first_x_px": _pixel(first[0]),
        "first_y_px": _pixel(first[1]),
        "second_x_px": _pixel(second[0]),
        "second_y_px": _pixel(second[1]),
        "distance_m": Entered(distance, text) if distance is not None and text else distance,
    }
    return ScaleForm(data, system=system, initial=initial, auto_id="scale-%s")


def origin_form(data: Mapping[str, Any] | None, plan: PlanFacts, system: UnitSystem) -> OriginForm:
    """Form of a plan's origin, with what is set."""
    x, y = plan.origin_px or (None, None)
    initial = {"version": plan.version, "origin_x_px": _pixel(x), "origin_y_px": _pixel(y)}
    return OriginForm(data, system=system, initial=initial, auto_id="origin-%s")


def _pixel(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def told(form: forms.Form) -> str:
    """Every error of a form in one text, for the page that one came from."""
    return " ".join(
        f"{form.fields[name].label}: {error}" if name in form.fields else str(error)
        for name, errors in form.errors.items()
        for error in errors
    )
