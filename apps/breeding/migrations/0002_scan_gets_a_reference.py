"""A scan is addressed by its own reference: undo and strike need an address that is no key of a table."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

import apps.core.codes


def give_references(apps_then: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """A default of a new column is asked once for all rows, so rows that exist get theirs one by one."""
    scans = apps_then.get_model("breeding", "Scan")
    for pk in scans.objects.filter(ref__isnull=True).values_list("pk", flat=True).iterator():
        scans.objects.filter(pk=pk).update(ref=apps.core.codes.new_ref())


class Migration(migrations.Migration):
    dependencies = [("breeding", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="scan",
            name="ref",
            field=models.CharField(max_length=10, null=True, editable=False),
        ),
        migrations.RunPython(give_references, migrations.RunPython.noop),
        migrations.AlterField(
            model_name="scan",
            name="ref",
            field=models.CharField(max_length=10, unique=True, default=apps.core.codes.new_ref, editable=False),
        ),
    ]
