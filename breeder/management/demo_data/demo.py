"""Load the whole demo into an empty book."""

import hashlib
from datetime import date, datetime
from pathlib import Path
from random import Random

from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import CommandError
from django.db import connection, transaction
from django.utils import timezone

from breeder import migrations
from breeder.base.models import Setting
from breeder.base.queries import household
from breeder.base.roles import HELPER, KEEPER
from breeder.carriers import queries
from breeder.carriers.models import Service
from breeder.core.transit import delivery_days
from breeder.management import server
from breeder.management.demo_data import demo_rules, demo_stock, places, week
from breeder.management.demo_data.history import History
from breeder.management.demo_data.sales import Sales
from breeder.shipments.actions import bench
from breeder.shipments.example_kits import BOX, LINER_19, LINER_38, LINER_FOIL, PACK_22, PACK_72, WATER
from breeder.shipments.models import Kit, Supply

SEED = 1804  # the year in which A. vulgare and P. scaber were named
KEEPER_NAME, HELPER_NAME = "keeper", "helper"
PASSWORD = "under the bark"
STAMP = "demo-of"
SERVICE = "two-day"
# This breeder has no bottles ready, so cold boxes go with a heat pack.
SHELF = {BOX: 40, LINER_19: 24, LINER_38: 10, LINER_FOIL: 12, PACK_72: 30, PACK_22: 8, WATER: 0}


def is_fresh(warmer_c: float, season: str = places.ALL_YEAR) -> bool:
    """Return whether today's demo with this weather is loaded already."""
    stamp = settings.DATA_DIR / STAMP
    return (
        stamp.exists() and stamp.read_text() == _stamp(warmer_c, season) and _database().exists() and household().demo
    )


def refuse_real_book() -> None:
    """Raise CommandError if this data folder holds a real book."""
    if _database().exists() and _holds_real_book():
        raise CommandError(
            f"{settings.DATA_DIR} holds a real book, and the demo would replace it. "
            "Set BREEDER_DATA to an empty folder for the demo, or leave it unset."
        )
    connection.close()


def _holds_real_book() -> bool:
    tables = connection.introspection.table_names()
    # Reads only one column: a demo of an older version lacks the newer ones.
    is_demo = Setting._meta.db_table in tables and Setting.objects.filter(pk=Setting.ONLY, demo=True).exists()
    return Setting._meta.db_table in tables and not is_demo and User.objects.exists()


def load(now: datetime, warmer_c: float = 0.0, season: str = places.ALL_YEAR) -> None:
    """Make the demo from scratch. The ledger cannot be emptied, so this replaces the database file."""
    refuse_real_book()
    (settings.DATA_DIR / STAMP).unlink(missing_ok=True)
    for name in ("", "-wal", "-shm"):
        Path(f"{_database()}{name}").unlink(missing_ok=True)
    server.bring_up_to_date()
    setting = places.write_household()
    keeper = server.add_person(KEEPER_NAME, PASSWORD, KEEPER)
    server.add_person(HELPER_NAME, PASSWORD, HELPER)
    server.load_examples(by=keeper)
    counted = {supply.pk: (SHELF[supply.name], supply.order_below) for supply in Supply.objects.filter(name__in=SHELF)}
    bench.count_supplies(counted, by=keeper)
    with timezone.override(setting.zone):
        _live(setting, now, places.Weather(warmer_c, season), keeper)
    (settings.DATA_DIR / STAMP).write_text(_stamp(warmer_c, season))


def _live(setting: Setting, now: datetime, weather: places.Weather, keeper: User) -> None:
    dice = Random(SEED)
    today = timezone.localdate(now)
    service = Service.objects.get(name=SERVICE)
    posted_on = next(day.on for day in posting_days(service, today) if day.usable)
    with transaction.atomic():  # in one transaction: a thousand small writes would each wait for the disk
        kept = demo_stock.build(today, dice)
        addresses = places.write_people(now)
        places.write_weather(setting, addresses, now, posted_on, weather)
        sales = Sales(kept, addresses, list(Kit.objects.all()), service, setting.zone, keeper, dice)
        History(kept, sales, today, setting.zone, keeper, dice).write()
    demo_rules.write_rules(today, keeper)
    week.live_through(kept, service, now, keeper)
    demo_rules.expire_permit(today, keeper)


def posting_days(service: Service, today: date) -> tuple[delivery_days.ShippingDay, ...]:
    """Return the next days of a service."""
    return delivery_days.shipping_days(
        queries.service_timing(service), queries.carrier_closures(service.carrier), today
    )


def _database() -> Path:
    return Path(settings.DATABASES["default"]["NAME"])


def _stamp(warmer_c: float, season: str) -> str:
    # A demo of an older version has other tables, so the migrations are part of the stamp.
    made_from = sorted(Path(migrations.__file__).parent.glob("[0-9]*.py"))
    tables = hashlib.sha256(b"".join(path.read_bytes() for path in made_from)).hexdigest()[:12]
    return f"{timezone.localdate().isoformat()} {warmer_c:+.1f} {season} {tables}"
