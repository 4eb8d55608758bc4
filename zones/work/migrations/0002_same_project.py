"""Keep parent and child in one project: composite foreign keys, which Django can't declare."""

from __future__ import annotations

from django.db import migrations

UNIT = "inventory_terminalunit"
# child table, column, parent table
PAIRS = (
    ("stepbefore", "step_id", "work_step"),
    ("stepbefore", "before_id", "work_step"),
    ("stepmark", "step_id", "work_step"),
    ("stepmark", "unit_id", UNIT),
    ("stepmark", "air_handler_id", "inventory_airhandler"),
    ("assignment", "step_id", "work_step"),
    ("assignment", "unit_id", UNIT),
    ("assignment", "air_handler_id", "inventory_airhandler"),
    ("checktemplatepoint", "template_id", "work_checktemplate"),
    ("checkout", "unit_id", UNIT),
    ("checkoutpoint", "checkout_id", "work_checkout"),
    ("punchitem", "unit_id", UNIT),
    ("punchitem", "outlet_id", "inventory_outlet"),
    ("punchitem", "air_handler_id", "inventory_airhandler"),
    ("punchitem", "checkout_point_id", "work_checkoutpoint"),
    ("punchentry", "item_id", "work_punchitem"),
    ("attachment", "unit_id", UNIT),
    ("attachment", "outlet_id", "inventory_outlet"),
    ("attachment", "air_handler_id", "inventory_airhandler"),
    ("attachment", "punch_item_id", "work_punchitem"),
    ("attachment", "step_id", "work_step"),
    ("attachment", "checkout_point_id", "work_checkoutpoint"),
)


def _name(child: str, column: str) -> str:
    return f"{child}_{column.removesuffix('_id')}_same_project"


class Migration(migrations.Migration):
    dependencies = [("work", "0001_initial"), ("inventory", "0002_same_project")]

    operations = [
        migrations.RunSQL(
            sql=f"ALTER TABLE work_{child} ADD CONSTRAINT {_name(child, column)} "
            f"FOREIGN KEY (project_id, {column}) REFERENCES {parent} (project_id, id) "
            "DEFERRABLE INITIALLY DEFERRED",
            reverse_sql=f"ALTER TABLE work_{child} DROP CONSTRAINT {_name(child, column)}",
        )
        for child, column, parent in PAIRS
    ]
