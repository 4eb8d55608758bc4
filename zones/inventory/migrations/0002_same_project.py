"""Keep parent and child in one project: composite foreign keys, which Django can't declare."""

from __future__ import annotations

from django.db import migrations

# child table, column, parent table, constraint
PAIRS = (
    ("inventory_terminalunit", "air_handler_id", "inventory_airhandler", "terminalunit_air_handler_same_project"),
    ("inventory_terminalunit", "zone_id", "inventory_zone", "terminalunit_zone_same_project"),
    ("inventory_terminalunit", "source_import_id", "inventory_scheduleimport", "terminalunit_source_import_same_project"),
    ("inventory_outlet", "unit_id", "inventory_terminalunit", "outlet_unit_same_project"),
    ("inventory_schedulerow", "schedule_import_id", "inventory_scheduleimport", "schedulerow_schedule_import_same_project"),
    ("inventory_schedulerow", "unit_id", "inventory_terminalunit", "schedulerow_unit_same_project"),
)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]

    operations = [
        migrations.RunSQL(
            sql=f"ALTER TABLE {child} ADD CONSTRAINT {name} FOREIGN KEY (project_id, {column}) "
            f"REFERENCES {parent} (project_id, id) DEFERRABLE INITIALLY DEFERRED",
            reverse_sql=f"ALTER TABLE {child} DROP CONSTRAINT {name}",
        )
        for child, column, parent, name in PAIRS
    ]
