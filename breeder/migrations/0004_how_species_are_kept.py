"""How a species is kept: temperature, moisture, food, calcium. The next start fills them in from the starter set."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("breeder", "0003_kits_back_to_their_drawing"),
    ]

    operations = [
        migrations.AddField(
            model_name='species',
            name='calcium',
            field=models.CharField(blank=True, max_length=160),
        ),
        migrations.AddField(
            model_name='species',
            name='food',
            field=models.CharField(blank=True, max_length=160),
        ),
        migrations.AddField(
            model_name='species',
            name='keeping_high_c',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True, verbose_name='kept to, °C'),
        ),
        migrations.AddField(
            model_name='species',
            name='keeping_low_c',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=4, null=True, verbose_name='kept from, °C'),
        ),
        migrations.AddField(
            model_name='species',
            name='moisture',
            field=models.CharField(blank=True, max_length=160),
        ),
        migrations.AddConstraint(
            model_name='species',
            constraint=models.CheckConstraint(condition=models.Q(('keeping_low_c__lte', models.F('keeping_high_c'))), name='species_keeping_in_order'),
        ),
    ]
