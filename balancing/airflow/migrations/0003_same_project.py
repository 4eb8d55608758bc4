"""Keep parent and child in one project: composite foreign keys, which Django can't declare."""

from __future__ import annotations

from django.db import migrations

# child table, column, parent table, constraint
PAIRS = (
    ("airflow_flowtest", "unit_id", "inventory_terminalunit", "flowtest_unit_same_project"),
    ("airflow_flowtest", "instrument_id", "airflow_instrument", "flowtest_instrument_same_project"),
    ("airflow_flowpoint", "test_id", "airflow_flowtest", "flowpoint_test_same_project"),
    ("airflow_hoodreading", "point_id", "airflow_flowpoint", "hoodreading_point_same_project"),
    ("airflow_hoodreading", "outlet_id", "inventory_outlet", "hoodreading_outlet_same_project"),
)


class Migration(migrations.Migration):
    dependencies = [("airflow", "0002_history"), ("inventory", "0002_same_project")]

    operations = [
        migrations.RunSQL(
            sql=f"ALTER TABLE {child} ADD CONSTRAINT {name} FOREIGN KEY (project_id, {column}) "
            f"REFERENCES {parent} (project_id, id) DEFERRABLE INITIALLY DEFERRED",
            reverse_sql=f"ALTER TABLE {child} DROP CONSTRAINT {name}",
        )
        for child, column, parent, name in PAIRS
    ]
