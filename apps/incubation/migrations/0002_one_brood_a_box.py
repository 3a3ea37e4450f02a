"""A box never holds eggs of two broods: no check constraint reaches across tables, so the database keeps a trigger."""

from __future__ import annotations

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps

MESSAGE = "egg_box_same_brood: a box holds the eggs of one brood only"
FOREIGN = "(SELECT brood_id FROM incubation_box WHERE id = NEW.box_id) <> NEW.brood_id"

SQLITE = [
    f"""CREATE TRIGGER egg_box_same_brood_{when} BEFORE {event} ON incubation_egg
        WHEN NEW.box_id IS NOT NULL AND {FOREIGN}
        BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"""
    for when, event in (("add", "INSERT"), ("change", "UPDATE OF box_id, brood_id"))
]
SQLITE_BACK = ["DROP TRIGGER egg_box_same_brood_add", "DROP TRIGGER egg_box_same_brood_change"]

POSTGRES = [
    f"""CREATE FUNCTION egg_box_same_brood() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF NEW.box_id IS NOT NULL AND {FOREIGN} THEN
                RAISE EXCEPTION '{MESSAGE}' USING ERRCODE = 'check_violation', CONSTRAINT = 'egg_box_same_brood';
            END IF;
            RETURN NEW;
        END $$""",
    """CREATE TRIGGER egg_box_same_brood BEFORE INSERT OR UPDATE OF box_id, brood_id ON incubation_egg
        FOR EACH ROW EXECUTE FUNCTION egg_box_same_brood()""",
]
POSTGRES_BACK = ["DROP TRIGGER egg_box_same_brood ON incubation_egg", "DROP FUNCTION egg_box_same_brood()"]


def keep(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Put the trigger on."""
    for statement in POSTGRES if schema_editor.connection.vendor == "postgresql" else SQLITE:
        schema_editor.execute(statement)


def drop(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Take the trigger off."""
    for statement in POSTGRES_BACK if schema_editor.connection.vendor == "postgresql" else SQLITE_BACK:
        schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("incubation", "0001_initial")]

    operations = [migrations.RunPython(keep, drop)]
