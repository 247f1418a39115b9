"""A token keeps the form it was sent from and a digest of what was typed; older ones keep neither."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('breeder', '0005_holds_with_money_in_them'),
    ]

    operations = [
        migrations.AddField(
            model_name='token',
            name='body',
            field=models.CharField(blank=True, default='', max_length=64),
        ),
        migrations.AddField(
            model_name='token',
            name='form',
            field=models.CharField(blank=True, default='', max_length=200),
        ),
    ]
