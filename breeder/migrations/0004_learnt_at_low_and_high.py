"""What is learnt of forecasts is kept for the low and the high of a day apart."""

from typing import Any

from django.db import migrations, models


def forget(apps: Any, schema_editor: Any) -> None:
    """Drop what was learnt for all hours alike; it is learnt anew from the pairs with the next measured hour."""
    apps.get_model("breeder", "Learnt").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("breeder", "0003_where_animals_may_go")]

    operations = [
        migrations.RunPython(forget, migrations.RunPython.noop),
        migrations.RemoveField("learnt", "bias_c"),
        migrations.RemoveField("learnt", "sd_c"),
        migrations.AddField(
            "learnt",
            "low_bias_c",
            models.FloatField(default=0.0, verbose_name="to be added to the day's low, °C"),
            preserve_default=False,
        ),
        migrations.AddField(
            "learnt",
            "high_bias_c",
            models.FloatField(default=0.0, verbose_name="to be added to the day's high, °C"),
            preserve_default=False,
        ),
        migrations.AddField(
            "learnt",
            "low_share",
            models.FloatField(default=1.0, verbose_name="what is left at the low, in parts of the usual error"),
            preserve_default=False,
        ),
        migrations.AddField(
            "learnt",
            "high_share",
            models.FloatField(default=1.0, verbose_name="what is left at the high, in parts of the usual error"),
            preserve_default=False,
        ),
    ]
