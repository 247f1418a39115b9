"""Kits that were measured by the old fit go back to their drawing, and the keeper is told so once.

It took the film around the bottle for four times what it is, and the ice in its bag for bare.
"""

from django.db import migrations, models
from django.utils import timezone


def back_to_the_drawing(apps, schema_editor):
    """Forget every measured conductance; what a keeper typed by hand stays."""
    log_row = apps.get_model("breeder", "LogRow")
    for kit in apps.get_model("breeder", "Kit").objects.filter(measured_sd_ln__isnull=False).order_by("pk"):
        sentence = (
            f"{kit.name} was measured as {kit.leak_factor:.2f} times what is drawn, by a method that was wrong. "
            "It is back at its drawing: measure it again."
        )
        log_row.objects.create(at=timezone.now(), did="undid a measurement", about=kit.name[:120], sentence=sentence)
        kit.leak_factor, kit.measured_sd_ln, kit.remeasure = 1.0, None, True
        kit.save(update_fields=["leak_factor", "measured_sd_ln", "remeasure"])


class Migration(migrations.Migration):
    dependencies = [
        ("breeder", "0002_where_animals_may_go_and_what_crashed"),
    ]

    operations = [
        migrations.AddField(
            model_name="kit",
            name="remeasure",
            field=models.BooleanField(default=False, verbose_name="was measured by a method that was wrong"),
        ),
        migrations.RunPython(back_to_the_drawing, migrations.RunPython.noop),
    ]
