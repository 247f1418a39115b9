"""Run by a test in a process of its own, on a small disk that it fills up or that is made read-only.

    python -m tests.base.cramped fill|read-only      (the book by BREEDER_DATA, on that disk)

Prints as JSON what pages answered while nothing could be written, and after it could again.
"""

import contextlib
import json
import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connections  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import setup_test_environment  # noqa: E402
from django.urls import reverse  # noqa: E402

from breeder.base import form_tokens  # noqa: E402
from breeder.base.roles import KEEPER  # noqa: E402
from breeder.cultures import ledger_check  # noqa: E402
from breeder.people.models import Person  # noqa: E402
from tests.build import user_in  # noqa: E402
from tests.orders.stand import counted_line  # noqa: E402

PLUG = Path(settings.DATA_DIR) / "plug"
BLOCK = 4096
FIRST_RUN = ("migrate",)
COMMANDS = (("backup", str(settings.DATA_DIR / "book.zip")), ("check_ledger",), ("serve", "--port", "8765"), FIRST_RUN)


def fill() -> None:
    """Write until nothing more fits."""
    with contextlib.suppress(OSError), PLUG.open("wb", buffering=0) as plug:
        while True:
            plug.write(b"x" * BLOCK)


def read_only(also: str = "ro") -> None:
    subprocess.run(["mount", "-o", f"remount,{also}", os.environ["CRAMPED_DISK"]], check=True)


def said(response: Any) -> dict[str, Any]:
    return {"status": response.status_code, "text": response.content.decode(), "to": response.get("Location")}


def person(name: str) -> dict[str, str]:
    # Longer than the room that a database file keeps free inside.
    return {
        "name": name,
        "kind": "customer",
        "note": "x" * 900,
        "without_place": "on",
        "token": form_tokens.new_token(),
    }


def tried(client: Client, tub_number: int) -> dict[str, Any]:
    """Ask for a page, send a form and send a photo that is larger than what stays in memory."""
    photo = BytesIO(b"\xff\xd8" + b"x" * 3_000_000)
    photo.name = "tub.jpg"
    count = {"stage": "young", "photo": photo, "token": form_tokens.new_token()}
    form = person("Ada Marsh")
    found = {
        "page": said(client.get(reverse("cultures:tub", args=[tub_number]))),
        "orders": said(client.get(reverse("orders:list"))),
        "form": said(client.post(reverse("people:new"), form)),
        "log-in": said(
            Client(raise_request_exception=False).post(reverse("login"), {"username": "a", "password": "b"})
        ),
        "photo": said(client.post(reverse("cultures:tub_count", args=[tub_number]) + "?way=hand", count)),
    }
    return found | {"sent": form}


def command(*words: str) -> dict[str, Any]:
    where = os.environ if words != FIRST_RUN else os.environ | {"BREEDER_DATA": str(settings.DATA_DIR / "another")}
    done = subprocess.run([sys.executable, "manage.py", *words], env=where, capture_output=True, text=True, check=False)
    return {"code": done.returncode, "text": done.stderr}


def main(how: str) -> None:
    call_command("migrate", verbosity=0)
    setup_test_environment()
    client = Client(raise_request_exception=False)
    client.force_login(user_in(KEEPER, "keeper"))
    number = counted_line("Ash", 60).cultures.get().number
    client.get(reverse("cultures:tub", args=[number]))
    connections.close_all()
    fill() if how == "fill" else read_only()
    found = tried(client, number)
    connections.close_all()
    found["commands"] = {" ".join(words): command(*words) for words in COMMANDS}
    PLUG.unlink() if how == "fill" else read_only("rw")
    found["people meanwhile"] = Person.objects.count()
    found["after"] = said(client.post(reverse("people:new"), found.pop("sent")))
    found["people"], found["differences"] = Person.objects.count(), len(list(ledger_check.differences()))
    print(json.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1])
