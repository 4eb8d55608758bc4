"""Addresses of the inventory, below a project."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from zones.inventory.api import air_handlers as air_handlers_api
from zones.inventory.api import imports as imports_api
from zones.inventory.api import library as library_api
from zones.inventory.api import outlets as outlets_api
from zones.inventory.api import placing as placing_api
from zones.inventory.api import units as units_api
from zones.inventory.api import zones as zones_api
from zones.inventory.views import air_handlers, imports, library, outlets, placing, units, zones

app_name = "inventory"

_imports: list[URLPattern | URLResolver] = [
    path("imports/", imports.import_list, name="imports"),
    path("imports/new/", imports.import_new, name="import-new"),
    path("imports/compare/", imports.import_compare, name="import-compare"),
    path("imports/<int:import_id>/", imports.import_page, name="import"),
    path("imports/<int:import_id>/columns/", imports.import_mapping, name="import-mapping"),
    path("imports/<int:import_id>/layout/", imports.import_layout, name="import-layout"),
    path("imports/<int:import_id>/work/", imports.import_work, name="import-work"),
    path("imports/<int:import_id>/stop/", imports.import_stop, name="import-stop"),
    path("imports/<int:import_id>/apply/", imports.import_apply, name="import-apply"),
    path("imports/<int:import_id>/drop/", imports.import_drop, name="import-drop"),
    path("imports/<int:import_id>/file/", imports.import_file, name="import-file"),
]
_api_imports: list[URLPattern | URLResolver] = [
    *imports_api.urlpatterns,
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("units/", units.unit_list, name="units"),
    path("units/positions/", placing.positions, name="positions"),
    path("units/add/", units.unit_add, name="unit-add"),
    path("units/tag/<str:tag>/", units.unit_by_tag, name="unit-by-tag"),
    path("units/<int:unit_id>/", units.unit_page, name="unit"),
    path("units/<int:unit_id>/edit/", units.unit_edit, name="unit-edit"),
    path("units/<int:unit_id>/archive/", units.unit_archive, name="unit-archive"),
    path("units/<int:unit_id>/restore/", units.unit_restore, name="unit-restore"),
    path("units/<int:unit_id>/changes/", units.unit_changes, name="unit-changes"),
    path("units/<int:unit_id>/outlets/add/", outlets.outlet_add, name="outlet-add"),
    path("outlets/<int:outlet_id>/edit/", outlets.outlet_edit, name="outlet-edit"),
    path("outlets/<int:outlet_id>/archive/", outlets.outlet_archive, name="outlet-archive"),
    path("outlets/<int:outlet_id>/restore/", outlets.outlet_restore, name="outlet-restore"),
    path("air-handlers/", air_handlers.air_handler_list, name="air-handlers"),
    path("air-handlers/add/", air_handlers.air_handler_add, name="air-handler-add"),
    path("air-handlers/<int:air_handler_id>/", air_handlers.air_handler_page, name="air-handler"),
    path(
        "air-handlers/<int:air_handler_id>/edit/",
        air_handlers.air_handler_edit,
        name="air-handler-edit",
    ),
    path(
        "air-handlers/<int:air_handler_id>/archive/",
        air_handlers.air_handler_archive,
        name="air-handler-archive",
    ),
    path(
        "air-handlers/<int:air_handler_id>/restore/",
        air_handlers.air_handler_restore,
        name="air-handler-restore",
    ),
    path("zones/", zones.zone_list, name="zones"),
    path("zones/add/", zones.zone_add, name="zone-add"),
    path("zones/<int:zone_id>/", zones.zone_page, name="zone"),
    path("zones/<int:zone_id>/edit/", zones.zone_edit, name="zone-edit"),
    path("zones/<int:zone_id>/archive/", zones.zone_archive, name="zone-archive"),
    path("zones/<int:zone_id>/restore/", zones.zone_restore, name="zone-restore"),
    path("library/", library.library, name="library"),
    path("library/starter/", library.starter, name="library-starter"),
    path("library/box-models/add/", library.box_model_add, name="library-box-model-add"),
    path(
        "library/box-models/<int:box_model_id>/", library.box_model_page, name="library-box-model"
    ),
    path(
        "library/box-models/<int:box_model_id>/edit/",
        library.box_model_edit,
        name="library-box-model-edit",
    ),
    path(
        "library/box-models/<int:box_model_id>/archive/",
        library.box_model_archive,
        name="library-box-model-archive",
    ),
    path(
        "library/box-models/<int:box_model_id>/restore/",
        library.box_model_restore,
        name="library-box-model-restore",
    ),
    path(
        "library/box-models/<int:box_model_id>/inlets/add/",
        library.inlet_add,
        name="library-inlet-add",
    ),
    path("library/inlets/<int:inlet_id>/edit/", library.inlet_edit, name="library-inlet-edit"),
    path(
        "library/inlets/<int:inlet_id>/remove/", library.inlet_remove, name="library-inlet-remove"
    ),
    path(
        "library/controller-models/add/",
        library.controller_add,
        name="library-controller-model-add",
    ),
    path(
        "library/controller-models/<int:controller_model_id>/",
        library.controller_page,
        name="library-controller-model",
    ),
    path(
        "library/controller-models/<int:controller_model_id>/edit/",
        library.controller_edit,
        name="library-controller-model-edit",
    ),
    path(
        "library/controller-models/<int:controller_model_id>/archive/",
        library.controller_archive,
        name="library-controller-model-archive",
    ),
    path(
        "library/controller-models/<int:controller_model_id>/restore/",
        library.controller_restore,
        name="library-controller-model-restore",
    ),
    *_imports,
]

api_urlpatterns: list[URLPattern | URLResolver] = [
    *units_api.urlpatterns,
    *placing_api.urlpatterns,
    *outlets_api.urlpatterns,
    *air_handlers_api.urlpatterns,
    *zones_api.urlpatterns,
    *library_api.urlpatterns,
    *_api_imports,
]
