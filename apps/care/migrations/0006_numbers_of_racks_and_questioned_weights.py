from datetime import UTC, date, datetime

import django.db.models.deletion
from django.db import migrations, models


def name_the_racks(apps, schema_editor):
    """Every rack that has counted animals gets a row that no longer holds: readers count it, the next job writes it."""
    states, tallies = apps.get_model("care", "CareState"), apps.get_model("care", "CareTally")
    past = datetime(1970, 1, 1, tzinfo=UTC)
    racks = states.objects.order_by().values_list("rack_id", flat=True).distinct()
    tallies.objects.bulk_create(
        (tallies(rack_id=rack, day=date(1970, 1, 1), since=past, until=past, numbers=[]) for rack in racks),
        batch_size=500,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("places", "0001_initial"),
        ("care", "0005_rounds_tasks_and_what_is_due"),
    ]

    operations = [
        migrations.AddField(
            model_name="carestate",
            name="counted_on",
            field=models.DateField(blank=True, help_text="The facility day these days were counted for.", null=True),
        ),
        migrations.AddIndex(
            model_name="weight",
            index=models.Index(
                condition=models.Q(("doubtful", True), ("struck_at__isnull", True)),
                fields=["-observed_at"],
                name="weight_questioned",
            ),
        ),
        migrations.CreateModel(
            name="CareTally",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("day", models.DateField(help_text="The facility day it was counted for.")),
                ("since", models.DateTimeField()),
                ("until", models.DateTimeField()),
                (
                    "numbers",
                    models.JSONField(
                        default=list, help_text="Living, due by kind, late by kind, anything due by choice."
                    ),
                ),
                (
                    "rack",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="places.rack",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "care tallies",
                "constraints": [
                    models.UniqueConstraint(fields=("rack",), name="care_tally_once_per_rack", nulls_distinct=False)
                ],
            },
        ),
        migrations.RunPython(name_the_racks, migrations.RunPython.noop),
    ]
