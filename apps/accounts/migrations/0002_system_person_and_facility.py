"""The named author of jobs, and the one settings row."""

from typing import Any

from django.db import migrations

SYSTEM_EMAIL = "system@broodwright.invalid"


def make(apps: Any, schema_editor: Any) -> None:
    """Make both; safe to run twice."""
    apps.get_model("accounts", "Person").objects.get_or_create(
        email=SYSTEM_EMAIL, defaults={"name": "Broodwright", "password": "!", "is_system": True, "is_active": True}
    )
    apps.get_model("accounts", "Facility").objects.get_or_create(pk=1)


class Migration(migrations.Migration):
    dependencies = [("accounts", "0001_initial")]
    operations = [migrations.RunPython(make, migrations.RunPython.noop)]
