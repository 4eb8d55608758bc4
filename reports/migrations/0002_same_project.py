"""Keep parent and child in one project: composite foreign keys, which Django can't declare."""

from __future__ import annotations

from django.db import migrations

# child table, column, parent table, constraint
PAIRS = (
    ("reports_document", "unit_id", "inventory_terminalunit", "document_unit_same_project"),
    ("reports_document", "air_handler_id", "inventory_airhandler", "document_air_handler_same_project"),
    ("reports_download", "document_id", "reports_document", "download_document_same_project"),
)


class Migration(migrations.Migration):
    dependencies = [("reports", "0001_initial"), ("inventory", "0002_same_project")]

    operations = [
        migrations.RunSQL(
            sql=f"ALTER TABLE {child} ADD CONSTRAINT {name} FOREIGN KEY (project_id, {column}) "
            f"REFERENCES {parent} (project_id, id) DEFERRABLE INITIALLY DEFERRED",
            reverse_sql=f"ALTER TABLE {child} DROP CONSTRAINT {name}",
        )
        for child, column, parent, name in PAIRS
    ]
