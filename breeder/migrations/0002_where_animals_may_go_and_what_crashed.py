"""Where animals may go, what is known of a service's way, frozen lines and crashes, own errors of counting, usual months.

What is learnt of forecasts is kept for the low and the high of a day apart.
"""

import datetime
import django.core.validators
import django.db.models.deletion
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models


def forget(apps, schema_editor):
    """Drop what was learnt for all hours alike; it is learnt anew from the pairs with the next measured hour."""
    apps.get_model("breeder", "Learnt").objects.all().delete()


class Migration(migrations.Migration):

    dependencies = [
        ('breeder', '0001_initial'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RunPython(forget, migrations.RunPython.noop),
        migrations.RemoveField(
            model_name='learnt',
            name='bias_c',
        ),
        migrations.RemoveField(
            model_name='learnt',
            name='sd_c',
        ),
        migrations.AddField(
            model_name='culture',
            name='crashed_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='learnt',
            name='high_bias_c',
            field=models.FloatField(default=0.0, verbose_name="to be added to the day's high, °C"),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='learnt',
            name='high_share',
            field=models.FloatField(default=1.0, verbose_name='what is left at the high, in parts of the usual error'),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='learnt',
            name='low_bias_c',
            field=models.FloatField(default=0.0, verbose_name="to be added to the day's low, °C"),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='learnt',
            name='low_share',
            field=models.FloatField(default=1.0, verbose_name='what is left at the low, in parts of the usual error'),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='line',
            name='effective_share',
            field=models.DecimalField(decimal_places=2, default=Decimal('0.30'), max_digits=3, validators=[django.core.validators.MinValueValidator(Decimal('0.05')), django.core.validators.MaxValueValidator(Decimal('1'))], verbose_name='share of the adults that counts'),
        ),
        migrations.AddField(
            model_name='line',
            name='frozen_because',
            field=models.CharField(blank=True, max_length=160, verbose_name='frozen, because'),
        ),
        migrations.AddField(
            model_name='line',
            name='frozen_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='line',
            name='genetics_bind',
            field=models.BooleanField(default=False, verbose_name='the genetic number binds'),
        ),
        migrations.AddField(
            model_name='line',
            name='horizon_years',
            field=models.PositiveSmallIntegerField(default=5, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(50)], verbose_name='within years'),
        ),
        migrations.AddField(
            model_name='line',
            name='inbreeding_limit',
            field=models.DecimalField(decimal_places=2, default=Decimal('0.10'), max_digits=3, validators=[django.core.validators.MinValueValidator(Decimal('0.01')), django.core.validators.MaxValueValidator(Decimal('0.50'))], verbose_name='inbreeding allowed, as a share'),
        ),
        migrations.AddField(
            model_name='service',
            name='doorstep',
            field=models.CharField(choices=[('unknown', 'in shade or sun, not known'), ('shade', 'in the shade'), ('sun', 'in the sun')], default='unknown', max_length=8, verbose_name='doorstep'),
        ),
        migrations.AddField(
            model_name='service',
            name='hub_c',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True, verbose_name='inside its depots, °C'),
        ),
        migrations.AddField(
            model_name='service',
            name='network',
            field=models.CharField(choices=[('depots', 'in depots at room temperature, or not known'), ('mixed', 'partly in unheated trailers'), ('trailers', 'in unheated trailers')], default='depots', max_length=8, verbose_name='through the night'),
        ),
        migrations.AddField(
            model_name='service',
            name='truck_at',
            field=models.TimeField(default=datetime.time(20, 0), verbose_name='leaves the depot in the evening at'),
        ),
        migrations.AddField(
            model_name='service',
            name='van_hours',
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=3, null=True, verbose_name='hours in the van'),
        ),
        migrations.AddField(
            model_name='setting',
            name='region',
            field=models.CharField(blank=True, max_length=6, verbose_name='state or country of home (ISO 3166)'),
        ),
        migrations.AddField(
            model_name='setting',
            name='weather_second',
            field=models.CharField(blank=True, choices=[('', 'none'), ('nws', 'US National Weather Service'), ('met', 'MET Norway')], default='', max_length=10),
        ),
        migrations.CreateModel(
            name='MovementRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('citation', models.CharField(max_length=240, verbose_name='where it is written')),
                ('url', models.URLField(blank=True, max_length=240, verbose_name='address of that page')),
                ('verified', models.BooleanField(default=False, verbose_name='I have looked this up myself')),
                ('checked_on', models.DateField(blank=True, null=True, verbose_name='looked up on')),
                ('recheck_on', models.DateField(blank=True, null=True, verbose_name='to be looked up again by')),
                ('note', models.CharField(blank=True, max_length=400)),
                ('taxon', models.CharField(blank=True, max_length=80, verbose_name='species or higher taxon')),
                ('origin', models.CharField(blank=True, max_length=6, verbose_name='from (ISO 3166)')),
                ('destination', models.CharField(blank=True, max_length=6, verbose_name='into (ISO 3166)')),
                ('across_only', models.BooleanField(default=False, verbose_name='only from one state or country into another')),
                ('effect', models.CharField(choices=[('forbidden', 'Forbidden'), ('permit', 'needs a permit'), ('conditions', 'allowed with conditions'), ('allowed', 'Allowed')], max_length=10)),
                ('authority', models.CharField(blank=True, max_length=80, verbose_name='whose rule it is')),
                ('permit_kind', models.CharField(blank=True, max_length=40, verbose_name='kind of permit that is asked for')),
                ('conditions', models.CharField(blank=True, max_length=400, verbose_name='conditions in words')),
            ],
            options={
                'ordering': ['destination', 'taxon', 'authority', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('verified', False), models.Q(('checked_on__isnull', False), ('recheck_on__isnull', False)), _connector='OR'), name='movement_rule_says_when'), models.UniqueConstraint(fields=('taxon', 'origin', 'destination', 'authority', 'across_only', 'verified'), name='movement_rule_once')],
            },
        ),
        migrations.CreateModel(
            name='CarrierRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('citation', models.CharField(max_length=240, verbose_name='where it is written')),
                ('url', models.URLField(blank=True, max_length=240, verbose_name='address of that page')),
                ('verified', models.BooleanField(default=False, verbose_name='I have looked this up myself')),
                ('checked_on', models.DateField(blank=True, null=True, verbose_name='looked up on')),
                ('recheck_on', models.DateField(blank=True, null=True, verbose_name='to be looked up again by')),
                ('note', models.CharField(blank=True, max_length=400)),
                ('carrier', models.CharField(max_length=60)),
                ('taxon', models.CharField(blank=True, max_length=80, verbose_name='species or higher taxon')),
                ('takes', models.CharField(choices=[('takes', 'takes them'), ('agreement', 'takes them under an agreement'), ('refuses', 'does not take them')], max_length=10)),
                ('season_from', models.CharField(blank=True, max_length=5, verbose_name='season from (month-day)')),
                ('season_until', models.CharField(blank=True, max_length=5, verbose_name='season until (month-day)')),
                ('most_days', models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='longest planned transit, working days')),
                ('domestic_only', models.BooleanField(default=False, verbose_name='only within the country')),
                ('marking', models.CharField(blank=True, max_length=160, verbose_name='marking asked for')),
                ('conditions', models.CharField(blank=True, max_length=400, verbose_name='conditions in words')),
                ('service', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='carrier_rules', to='breeder.service')),
            ],
            options={
                'ordering': ['carrier', 'service', 'taxon', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('verified', False), models.Q(('checked_on__isnull', False), ('recheck_on__isnull', False)), _connector='OR'), name='carrier_rule_says_when'), models.CheckConstraint(condition=models.Q(models.Q(('season_from', ''), ('season_until', '')), models.Q(models.Q(('season_from', ''), _negated=True), models.Q(('season_until', ''), _negated=True)), _connector='OR'), name='carrier_rule_season_whole'), models.UniqueConstraint(condition=models.Q(('service', None)), fields=('carrier', 'taxon', 'verified'), name='carrier_rule_once'), models.UniqueConstraint(fields=('carrier', 'service', 'taxon', 'verified'), name='service_rule_once')],
            },
        ),
        migrations.CreateModel(
            name='OwnError',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('method', models.CharField(max_length=10)),
                ('bias', models.FloatField(verbose_name='mean of ln(guess / truth)')),
                ('sd', models.FloatField(verbose_name='shared error on the natural-log scale')),
                ('pairs', models.PositiveIntegerField(verbose_name='guesses followed by a sort')),
                ('learnt', models.BooleanField(verbose_name='learnt, not the default')),
                ('learnt_at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='own_errors', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['by', 'method', 'learnt_at', 'id'],
                'indexes': [models.Index(fields=['by', 'method', 'learnt_at'], name='own_error_newest')],
            },
        ),
        migrations.CreateModel(
            name='Permit',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60)),
                ('issuer', models.CharField(max_length=80, verbose_name='issued by')),
                ('kind', models.CharField(blank=True, max_length=40, verbose_name='kind of permit')),
                ('direction', models.CharField(choices=[('send', 'to send'), ('receive', 'to receive'), ('both', 'to send and to receive')], default='send', max_length=8)),
                ('taxa', models.JSONField(default=list, verbose_name='species or higher taxa')),
                ('origins', models.JSONField(default=list, verbose_name='from (ISO 3166)')),
                ('destinations', models.JSONField(default=list, verbose_name='into (ISO 3166)')),
                ('valid_from', models.DateField()),
                ('valid_until', models.DateField()),
                ('conditions', models.CharField(blank=True, max_length=400, verbose_name='conditions in words')),
                ('person', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='permits', to='breeder.person', verbose_name='held by')),
            ],
            options={
                'ordering': ['-valid_until', 'number'],
                'constraints': [models.UniqueConstraint(fields=('issuer', 'number'), name='permit_once'), models.CheckConstraint(condition=models.Q(('valid_from__lte', models.F('valid_until'))), name='permit_days_in_order')],
            },
        ),
        migrations.CreateModel(
            name='UsualMonth',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('month', models.PositiveSmallIntegerField(verbose_name='1 January to 12 December')),
                ('low_c', models.FloatField(verbose_name='mean low, °C')),
                ('high_c', models.FloatField(verbose_name='mean high, °C')),
                ('credit', models.CharField(blank=True, max_length=240, verbose_name='where it came from')),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='usual_months', to='breeder.place')),
            ],
            options={
                'ordering': ['month'],
                'constraints': [models.UniqueConstraint(fields=('place', 'month'), name='month_usual_once'), models.CheckConstraint(condition=models.Q(('month__gte', 1), ('month__lte', 12)), name='usual_month_is_a_month')],
            },
        ),
    ]
