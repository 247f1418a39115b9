"""A held order with money in it, or with nothing to pay, never runs out by itself; those in the book are kept so too."""

from decimal import Decimal

from django.db import migrations


def keep(apps, schema_editor):
    """Take the end off every such hold and off what it holds."""
    Order, Promise = (apps.get_model("breeder", name) for name in ("Order", "Promise"))
    for order in Order.objects.filter(status="held", paid_at=None).prefetch_related("lines", "payments"):
        lines = [line for line in order.lines.all() if line.packs]
        paid = sum((payment.amount for payment in order.payments.all()), Decimal(0))
        nothing_to_pay = order.postage == 0 and all(line.price == 0 for line in lines)
        if paid > 0 or nothing_to_pay:
            Order.objects.filter(pk=order.pk).update(held_until=None)
            Promise.objects.filter(order_line__order=order.pk, state="held").update(expires_at=None)


class Migration(migrations.Migration):

    dependencies = [
        ('breeder', '0004_how_species_are_kept'),
    ]

    operations = [
        migrations.RunPython(keep, migrations.RunPython.noop),
    ]
