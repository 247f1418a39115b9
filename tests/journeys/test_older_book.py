"""A backup of an earlier version restores: the same ledger, old checks that can be read, open boxes to check again."""

import json
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from tests.journeys.conftest import environment

BACKUP = settings.BASE_DIR / "fixtures" / "backups" / "book_0_2.zip"
LOOK = """
import json
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from breeder.base.queries import household
from breeder.cultures.models import Entry
from breeder.shipments.models import Check, Parcel
from breeder.shipments.queries import checks

client = Client(SERVER_NAME="localhost")
client.force_login(User.objects.filter(groups__name="keeper")[0])
addresses = {box.number: reverse("shipments:parcel", args=[box.number]) for box in Parcel.objects.all()}
pages = {number: client.get(address).status_code for number, address in addresses.items()}
rows = list(Entry.objects.order_by("pk").values())
print(json.dumps({
    "pages": pages, "checks": Check.objects.count(), "entries": len(rows),
    "open": [[each.parcel.number, each.check is not None, " ".join(each.leave.others)] for each in checks.waiting()],
}))
"""


def run(folder: Path, *command: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=settings.BASE_DIR, env=environment(folder), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def entries_in(backup: Path) -> list[dict[str, Any]]:
    with zipfile.ZipFile(backup) as archive:
        rows = [json.loads(line) for line in archive.read("book.jsonl").splitlines()]
    return [row for row in rows if row["model"] == "breeder.entry"]


@pytest.fixture(scope="module")
def restored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("older")
    run(folder, "restore", str(BACKUP))
    return folder


def test_the_ledger_is_the_same_to_the_row(restored: Path) -> None:
    run(restored, "backup", str(restored / "again.zip"))
    before, after = entries_in(BACKUP), entries_in(restored / "again.zip")
    assert len(before) == len(after) > 5_000
    for old, new in zip(before, after, strict=True):
        assert old["pk"] == new["pk"]
        assert {name: new["fields"][name] for name in old["fields"]} == old["fields"]


def test_the_ledger_proves_what_the_book_believes_and_says_once_what_changed(restored: Path) -> None:
    first, second = run(restored, "check_ledger"), run(restored, "check_ledger")
    assert "worked out by today" in first
    assert "worked out by today" not in second


def test_old_checks_are_read_and_open_boxes_ask_for_a_new_one(restored: Path) -> None:
    seen = json.loads(run(restored, "shell", "--no-imports", "-c", LOOK).splitlines()[-1])
    assert seen["checks"] == 7
    assert set(seen["pages"].values()) == {200}
    reasons = [against for _, was_checked, against in seen["open"] if was_checked]
    assert len(reasons) >= 4
    assert all("how this program computes odds changed" in against for against in reasons)
