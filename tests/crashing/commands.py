"""Run by the crash tests in a process of its own: backup, restore, migrate and refresh are killed at their writes.

    python -m tests.crashing.commands backup|restore|migrate|refresh FILE [control]

The database is named by BREEDER_DATA and BREEDER_DATABASE. `backup` writes FILE, from which `restore` fills another
book. Prints what each kill left behind, as JSON.
"""

import json
import os
import sys
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402
from django.db.migrations.executor import MigrationExecutor  # noqa: E402

from breeder.base.queries import household  # noqa: E402
from breeder.base.roles import KEEPER  # noqa: E402
from breeder.cultures import ledger_check  # noqa: E402
from breeder.management import backup_contents, backup_file  # noqa: E402
from breeder.weather import steps  # noqa: E402
from breeder.weather.fetcher import Fetcher, Patience  # noqa: E402
from breeder.weather.leases import HELD_FOR  # noqa: E402
from breeder.weather.models import Fetch, Forecast, Lease  # noqa: E402
from breeder.weather.refresh import refresh as bring_fresh  # noqa: E402
from breeder.weather.services.types import ServiceAnswer  # noqa: E402
from tests.crashing import faults  # noqa: E402
from tests.weather.services import shapes  # noqa: E402

PHOTO = b"bark and leaves " * 4000
CONTROL = sys.argv[3:] == ["control"]  # in a book of its own, which it leaves in pieces
BETWEEN = 4  # kills between the first write and the last ones
PLACES = (("35.15", "-90.05", "America/Chicago", "Memphis"), ("40.22", "-74.76", "America/New_York", "Trenton"))


def backup(file: Path) -> dict[str, Any]:
    """Kill a backup that is to take the place of an older one."""
    from tests.build import user_in
    from tests.orders.stand import agree, counted_line, pack

    call_command("migrate", verbosity=0)
    user_in(KEEPER, "keeper")
    of = counted_line("Ash", 60)
    agree((pack(of), 1))
    Path(settings.MEDIA_ROOT).mkdir()
    (Path(settings.MEDIA_ROOT) / "tub.jpg").write_bytes(PHOTO)
    backup_file.write_backup(file)
    agree((pack(of, number=5), 1), name="Bo Reed")
    older, part = file.read_bytes(), file.parent / f"{file.name}.part"

    def look() -> dict[str, Any]:
        left = part.stat().st_size if part.exists() else 0
        return {"older": file.read_bytes() == older, "sound": is_sound(file), "part": left}

    def kills(act: Callable[[], Any], last: int) -> list[Any]:
        return [[faults.died(act, at=at)[1], look()] for at in faults.spread(last, BETWEEN)]

    in_place = kills(
        lambda: backup_file._write(file), last_write(lambda: backup_file._write(file), f"pack {backup_contents.ABOUT}")
    )
    file.write_bytes(older)
    last = last_write(lambda: backup_file.write_backup(file), f"replace {file.name}") + 1
    file.write_bytes(older)
    found = kills(lambda: backup_file.write_backup(file), last)
    backup_file.write_backup(file)
    return {"kills": found, "control": in_place, "in the end": is_sound(file), "left over": part.exists()}


def last_write(act: Callable[[], Any], name: str) -> int:
    """Return the number of the write of this name."""
    return int(faults.died(act, name=name)[0])


def is_sound(file: Path) -> bool:
    """Return whether a file is a whole backup, by its own digest and sums."""
    try:
        with zipfile.ZipFile(file) as archive:
            backup_contents.read_about(archive, file)
    except (backup_contents.CannotRestore, *backup_contents.DAMAGED):
        return False
    return True


def restore(file: Path) -> dict[str, Any]:
    """Kill a restore into an empty book."""
    call_command("migrate", verbosity=0)
    empty, photo = rows(), Path(settings.MEDIA_ROOT) / "tub.jpg"

    def act() -> None:
        backup_file.restore_backup(file)

    def look() -> dict[str, Any]:
        return {"rows": rows() - empty, "photo": photo.stat().st_size if photo.exists() else 0}

    if CONTROL:
        hit = faults.died(act, name="INSERT breeder_entry", prepare=faults.without_transactions)
        return {"control": [[hit[1], look()]]}
    last = last_write(act, faults.COMMIT)
    found = [[faults.died(act, at=at)[1], look()] for at in faults.spread(last, BETWEEN)]
    kept = backup_file.restore_backup(file)
    whole = {
        "rows": rows() - empty,
        "photo": photo.read_bytes() == PHOTO,
        "differences": len(list(ledger_check.differences())),
    }
    return {"kills": found, "whole": whole, "wanted": kept.total}


def rows() -> int:
    return sum(model._default_manager.count() for model in backup_file.book_models())


def migrate(_: Path) -> dict[str, Any]:
    """Kill the migrations from the first to the last over a book that holds rows."""
    call_command("migrate", "breeder", "0001_initial", verbosity=0)
    for app in ("auth", "axes", "sessions"):
        call_command("migrate", app, verbosity=0)
    state = MigrationExecutor(connection).loader.project_state([("breeder", "0001_initial")]).apps
    species = state.get_model("breeder", "Species").objects.create(
        scientific_name="Armadillidium vulgare", comfort_low_c=7, comfort_high_c=29, hard_low_c=0, hard_high_c=36
    )
    line = state.get_model("breeder", "Line").objects.create(species=species, form_name="Ash")
    tub = state.get_model("breeder", "Culture").objects.create(line=line, number=1, started_on="2025-01-01")
    now = shapes.NOW
    state.get_model("breeder", "Entry").objects.create(culture=tub, kind="looked", happened_at=now, recorded_at=now)

    def act() -> None:
        call_command("migrate", verbosity=0)

    if CONTROL:

        def piecemeal() -> None:
            connection.features.can_rollback_ddl = False
            faults.without_transactions()

        hit = faults.died(act, name="ALTER breeder_culture", prepare=piecemeal)
        return {"control": [[hit[1], fits()]]}
    kills = []
    while pending():
        last = last_write(act, faults.COMMIT)
        kills += [[faults.died(act, at=at)[1], fits()] for at in faults.spread(last, 4, ends=2)]
        # Right after a migration's commit: whatever is not noted by then is done a second time, which cannot be.
        kills.append([faults.died(act, name=faults.COMMITTED)[1], fits()])
    act()
    if dropped := faults.died(act, name="DROP entry_is_kept"):
        kills.append([faults.died(act, at=dropped[0] + 1)[1], fits()])
    return {"kills": kills, "fits": fits(), "entries": entries(), "guarded": is_guarded()}


def fits() -> list[str]:
    """Return where the tables are not what the migrations that count as applied make of them."""
    loader = MigrationExecutor(connection).loader
    state = loader.project_state(list(loader.applied_migrations)).apps
    wrong = []
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        for model in state.get_models(include_auto_created=True):
            table = model._meta.db_table
            columns = {field.column for field in model._meta.local_concrete_fields}
            found = (
                {column.name for column in connection.introspection.get_table_description(cursor, table)}
                if table in there
                else set()
            )
            wrong += [f"{table}.{name}" for name in sorted(columns ^ found)]
        wrong += sorted(name for name in there if name.startswith("new__"))
    return wrong


def pending() -> bool:
    """Return whether a migration is not noted as applied."""
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def entries() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM breeder_entry")
        return int(cursor.fetchone()[0])


def is_guarded() -> bool:
    from django.db import DatabaseError

    try:
        with connection.cursor() as cursor:
            cursor.execute("UPDATE breeder_entry SET kind = 'x'")
    except DatabaseError:
        return True
    return False


class Answering(Fetcher):
    """Answers by itself, always the same hours."""

    def get(self, ask: Any, conditional: Any = None) -> ServiceAnswer:
        found = shapes.answer(shapes.series() | {"geometry": None})
        return ServiceAnswer(ask.endpoint, ask.url, 200, found.headers, found.body, self.clock())


def refresh(_: Path) -> dict[str, Any]:
    """Kill the bringing of forecasts; each next run finds the lease of a dead one."""
    call_command("migrate", verbosity=0)
    setting = household()
    setting.weather_service, setting.weather_contact = "met", "keeper@example.org"
    setting.save()
    places = [steps.place_for(*place) for place in PLACES]
    now, waited = shapes.NOW, []

    def act() -> Any:
        def make(service: Any, own_home: str) -> Answering:
            made = Answering(service.name, service.domain, own_home, patience=Patience(), sleep=lambda seconds: None)
            made.clock = lambda: now
            return made

        return bring_fresh(lambda: places, make=make)

    def look() -> dict[str, Any]:
        nonlocal now
        waited.append(Lease.objects.filter(until__gt=now).exists() and act().was_running)
        left = {"halves": halves(), "kept": Forecast.objects.count()}
        now += HELD_FOR + timedelta(seconds=1)
        Fetch.objects.update(good_until=now - timedelta(days=1))
        return left

    kills = faults.until_through(act, look)
    whole = {"halves": halves(), "kept": Forecast.objects.count(), "waited for the dead": any(waited)}
    now += HELD_FOR + timedelta(hours=2)
    Fetch.objects.update(good_until=now - timedelta(days=1))
    hit = faults.died(act, name="UPDATE breeder_fetch", prepare=faults.without_transactions)
    return {"kills": kills, "whole": whole, "control": [[hit[1], look()]]}


def halves() -> int:
    """Return for how many places the newest hours are not those that the last answer is noted to have brought."""
    wrong = 0
    for place in steps.Place.objects.all():
        newest = Forecast.objects.filter(place=place).order_by("-id").values_list("pk", flat=True).first()
        noted = Fetch.objects.filter(place=place, endpoint="forecast").values_list("forecast_id", flat=True).first()
        wrong += newest != noted
    return wrong


ACTS = {"backup": backup, "restore": restore, "migrate": migrate, "refresh": refresh}

if __name__ == "__main__":
    print(json.dumps(ACTS[sys.argv[1]](Path(sys.argv[2]))))
