"""A trait value is addressed by its own reference, as everything else: its number is a key of a table."""

from __future__ import annotations

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

import apps.core.codes


def give_references(apps_then: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """A default of a new column is asked once for all rows, so rows that exist get theirs one by one."""
    values = apps_then.get_model("animals", "TraitValue")
    for pk in values.objects.filter(ref__isnull=True).values_list("pk", flat=True).iterator():
        values.objects.filter(pk=pk).update(ref=apps.core.codes.new_ref())


class Migration(migrations.Migration):
    dependencies = [("animals", "0007_house_edits_of_the_catalogue")]

    operations = [
        migrations.AddField(
            model_name="traitvalue",
            name="ref",
            field=models.CharField(max_length=10, null=True, editable=False),
        ),
        migrations.RunPython(give_references, migrations.RunPython.noop),
        migrations.AlterField(
            model_name="traitvalue",
            name="ref",
            field=models.CharField(max_length=10, unique=True, default=apps.core.codes.new_ref, editable=False),
        ),
    ]
