"""The library that projects share, and what can be chosen from it in a form."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db import connection
from django.db.models import Count

from projectsite.core import numeric
from projectsite.core.errors import NotFound
from projectsite.core.scope import Scope
from zones.inventory.domain.types import (
    BoxModelFacts,
    ControllerFacts,
    ControllerModelFacts,
    InletFacts,
)
from zones.inventory.models import BoxInlet, BoxModel, ControllerModel, TerminalUnit


def inlets_of(box_model_ids: Iterable[int]) -> dict[int, tuple[InletFacts, ...]]:
    """Inlets of these box models from the smallest up, in one query."""
    found: dict[int, list[InletFacts]] = {}
    rows = BoxInlet.objects.filter(box_model_id__in=list(box_model_ids))
    for row in rows.order_by("diameter_m", "id").values_list(
        "box_model_id",
        "id",
        "label",
        "diameter_m",
        "free_area_m2",
        "nominal_k_m3_s_sqrt_pa",
        "scheduled_low_m3_s",
        "scheduled_high_m3_s",
    ):
        found.setdefault(row[0], []).append(InletFacts(*row[1:]))
    return {key: tuple(inlets) for key, inlets in found.items()}


def inlet_use(scope: Scope, box_model_id: int) -> dict[int, int]:
    """How many units of this project hang on each inlet of a box model."""
    rows = (
        TerminalUnit.objects.filter(
            project_id=scope.project.id, archived_at=None, inlet__box_model_id=box_model_id
        )
        .values_list("inlet_id")
        .annotate(count=Count("id"))
        .order_by("inlet_id")
    )
    return {inlet_id: count for inlet_id, count in rows if inlet_id is not None}


def box_models(
    scope: Scope, *, ids: Sequence[int] | None = None, archived: bool = False
) -> list[BoxModelFacts]:
    """Box models by name with their inlets and their use in this project, in three queries."""
    chosen = BoxModel.objects.order_by("name", "id")
    if ids is not None:
        chosen = chosen.filter(id__in=ids)
    else:
        chosen = chosen.filter(archived_at__isnull=not archived)
    rows = list(chosen.values_list("id", "name", "note", "archived_at", "version"))
    model_ids = [row[0] for row in rows]
    inlets = inlets_of(model_ids)
    use = dict(
        TerminalUnit.objects.filter(
            project_id=scope.project.id, archived_at=None, inlet__box_model_id__in=model_ids
        )
        .values_list("inlet__box_model_id")
        .annotate(count=Count("id"))
        .order_by("inlet__box_model_id")
    )
    return [
        BoxModelFacts(
            id=model_id,
            name=name,
            note=note,
            inlets=inlets.get(model_id, ()),
            units=use.get(model_id, 0),
            is_archived=archived_at is not None,
            version=version,
        )
        for model_id, name, note, archived_at, version in rows
    ]


def box_model(scope: Scope, box_model_id: int) -> BoxModelFacts:
    """One box model; NotFound when there is none."""
    found = box_models(scope, ids=[box_model_id])
    if not found:
        raise NotFound("There is no such box model in the library.")
    return found[0]


def controller_models(
    scope: Scope, *, ids: Sequence[int] | None = None, archived: bool = False
) -> list[ControllerModelFacts]:
    """Controller models by name with their use in this project, in two queries."""
    chosen = ControllerModel.objects.order_by("name", "id")
    if ids is not None:
        chosen = chosen.filter(id__in=ids)
    else:
        chosen = chosen.filter(archived_at__isnull=not archived)
    rows = list(
        chosen.values_list(
            "id",
            "name",
            "readable_pressure_pa",
            "span_pa",
            "accuracy_fraction",
            "accuracy_floor_pa",
            "note",
            "archived_at",
            "version",
        )
    )
    use = dict(
        TerminalUnit.objects.filter(
            project_id=scope.project.id,
            archived_at=None,
            controller_model_id__in=[row[0] for row in rows],
        )
        .values_list("controller_model_id")
        .annotate(count=Count("id"))
        .order_by("controller_model_id")
    )
    return [
        ControllerModelFacts(
            id=row[0],
            name=row[1],
            note=row[6],
            limits=ControllerFacts(*row[:6]),
            units=use.get(row[0], 0),
            is_archived=row[7] is not None,
            version=row[8],
        )
        for row in rows
    ]


def controller_model(scope: Scope, controller_model_id: int) -> ControllerModelFacts:
    """One controller model; NotFound when there is none."""
    found = controller_models(scope, ids=[controller_model_id])
    if not found:
        raise NotFound("There is no such controller model in the library.")
    return found[0]


@dataclass(frozen=True, slots=True)
class Options:
    """What the lists and forms of units offer: pairs of value and label."""

    floors: list[str] = field(default_factory=list)
    air_handlers: list[tuple[int, str]] = field(default_factory=list)
    controller_models: list[tuple[int, str]] = field(default_factory=list)
    inlet_labels: list[str] = field(default_factory=list)
    revisions: list[tuple[int, str]] = field(default_factory=list)


# Floors are few and units are many: the recursion hops along the index from one floor to the
# next instead of reading every unit.
_OPTIONS = """
WITH RECURSIVE floors AS (
    (SELECT floor FROM inventory_terminalunit
     WHERE project_id = %(project)s AND archived_at IS NULL ORDER BY floor LIMIT 1)
    UNION ALL
    SELECT (SELECT unit.floor FROM inventory_terminalunit unit
            WHERE unit.project_id = %(project)s AND unit.floor > floors.floor
            AND unit.archived_at IS NULL ORDER BY unit.floor LIMIT 1)
    FROM floors WHERE floors.floor IS NOT NULL
)
SELECT 'floor', 0, floor, floor FROM floors WHERE floor <> ''
UNION ALL
SELECT 'air_handler', id, tag, sort_key FROM inventory_airhandler
WHERE project_id = %(project)s AND archived_at IS NULL
UNION ALL
SELECT 'controller', id, name, name FROM inventory_controllermodel WHERE archived_at IS NULL
UNION ALL
SELECT 'inlet', 0, label, to_char(min(diameter_m), '000.0000')
FROM inventory_boxinlet GROUP BY label
UNION ALL
SELECT 'revision', revision, COALESCE(NULLIF(label, ''), file_name), ''
FROM inventory_scheduleimport
WHERE project_id = %(project)s AND revision IS NOT NULL
"""


def options(scope: Scope) -> Options:
    """What a list of units can be filtered by, in one query."""
    with connection.cursor() as cursor:
        cursor.execute(_OPTIONS, {"project": scope.project.id})
        rows: list[tuple[str, int, str, str]] = cursor.fetchall()
    of: dict[str, list[tuple[int, str, str]]] = {}
    for kind, key, label, order in rows:
        of.setdefault(kind, []).append((key, label, order))

    def pairs(kind: str) -> list[tuple[int, str]]:
        return [(k, label) for k, label, order in sorted(of.get(kind, []), key=lambda o: o[2])]

    return Options(
        floors=sorted((label for _, label, _ in of.get("floor", [])), key=numeric.natural_key),
        air_handlers=pairs("air_handler"),
        controller_models=pairs("controller"),
        inlet_labels=[label for _, label in pairs("inlet")],
        revisions=sorted((key, label) for key, label, _ in of.get("revision", [])),
    )


def inlet_choices() -> list[tuple[str, list[tuple[int, str]]]]:
    """Inlets of the box models in use, grouped by box model, for a form."""
    groups: dict[str, list[tuple[int, str]]] = {}
    rows = BoxInlet.objects.filter(box_model__archived_at=None).order_by(
        "box_model__name", "diameter_m", "id"
    )
    for inlet_id, label, name in rows.values_list("id", "label", "box_model__name"):
        # The label stands alone once it is chosen, so it names its model too.
        groups.setdefault(name, []).append((inlet_id, f"{label} · {name}"))
    return list(groups.items())


def box_model_of_inlet(scope: Scope, inlet_id: int) -> BoxModelFacts:
    """Find the box model that an inlet belongs to; NotFound when there is no such inlet."""
    found = BoxInlet.objects.filter(id=inlet_id).values_list("box_model_id", flat=True).first()
    if found is None:
        raise NotFound("There is no such inlet in the library.")
    return box_model(scope, found)
