"""Run by a test in its own process: the command, or the thread that `serve` starts, fetches forecasts once.

    python -m tests.weather.two_runners prepare|command|thread HOME [no-lease]

HOME is the address of a local server in place of the service. With `no-lease` neither takes the lease: a control.
"""

import os
import sys
from typing import Any

import django
import time_machine

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.core.management import call_command  # noqa: E402

from breeder.base.models import Setting  # noqa: E402
from breeder.base.queries import household  # noqa: E402
from breeder.management.forecasting import ForecastThread, fetch_all  # noqa: E402
from breeder.weather import leases, refresh, service_registry  # noqa: E402
from breeder.weather.fetcher import Fetcher, Patience  # noqa: E402
from tests.weather.services import shapes  # noqa: E402

DONE_WITHIN_S = 120.0


def patient(service: Any, own_home: str) -> Fetcher:
    """Return a fetcher that waits as long as the other process needs to start on a busy machine."""
    made = service_registry.fetcher_for(service, own_home)
    made.patience = Patience(read_s=60.0, overall_s=60.0)
    return made


def prepare() -> None:
    """Make the book with a home and a service."""
    call_command("migrate", verbosity=0)
    setting = household()
    setting.latitude, setting.longitude, setting.timezone = "35.15", "-90.05", "America/Chicago"
    setting.weather_service, setting.weather_contact, setting.weather_url = "met", "keeper@example.org", ""
    setting.save()


def thread() -> None:
    """Run the thread as `serve` does, but immediately, until it has fetched forecasts once."""

    def bring() -> refresh.RefreshReport:
        report = fetch_all()
        print(report.sentence)
        beside.stop()
        return report

    beside = ForecastThread(bring, first_after_s=0.0, clock=lambda: shapes.NOW)
    beside.start()
    beside.join(DONE_WITHIN_S)


def main() -> None:
    what, home = sys.argv[1:3]
    if "no-lease" in sys.argv:
        leases.take = lambda name, at: "anybody"
        leases.renew = lambda name, holder, at: True
    refresh.refresh.__kwdefaults__["make"] = patient
    if what != "prepare":
        Setting.objects.update(weather_url=home)
    with time_machine.travel(shapes.NOW):
        {"prepare": prepare, "command": lambda: call_command("refresh_forecasts"), "thread": thread}[what]()


if __name__ == "__main__":
    main()
