"""Run by a test in its own process: several processes on one database try to fetch forecasts at the same time.

    python -m tests.weather.one_runner      (the database by BREEDER_DATA and BREEDER_DATABASE)

Prints as JSON how many asked at once at most, with the lease and, as the control, without it.
"""

import json
import multiprocessing
import os
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connections  # noqa: E402

from breeder.base.queries import household  # noqa: E402
from breeder.weather import leases, refresh, steps  # noqa: E402
from breeder.weather.fetcher import Fetcher, Patience  # noqa: E402
from breeder.weather.models import Fetch  # noqa: E402
from breeder.weather.services.types import ServiceAnswer  # noqa: E402
from tests.weather.services import shapes  # noqa: E402

RUNNERS = 4
MEET_S = 2.0
PLACES = (("35.15", "-90.05", "America/Chicago", "Memphis"), ("40.22", "-74.76", "America/New_York", "Trenton"))


class Meeting(Fetcher):
    """Answers itself, but first counts concurrent callers and waits until the others had time."""

    def watch(self, now: Any, most: Any, others_done: Any) -> None:
        self.now, self.most, self.others_done = now, most, others_done

    def get(self, ask: Any, conditional: Any = None) -> ServiceAnswer:
        with self.now.get_lock():
            self.now.value += 1
            self.most.value = max(self.most.value, self.now.value)
            if self.most.value > 1:
                self.others_done.set()
        self.others_done.wait(MEET_S)
        with self.now.get_lock():
            self.now.value -= 1
        answer = shapes.answer(shapes.series() | {"geometry": None})
        return ServiceAnswer(ask.endpoint, ask.url, 200, answer.headers, answer.body, self.clock())


def race(*, no_lease: bool) -> dict[str, Any]:
    """Let several processes fetch forecasts at the same time."""
    Fetch.objects.all().delete()
    connections.close_all()
    context = multiprocessing.get_context("fork")
    now, most, others_done = context.Value("i", 0), context.Value("i", 0), context.Event()
    start, reports = context.Barrier(RUNNERS), context.Queue()

    def runner() -> None:
        def make(service: Any, own_home: str) -> Meeting:
            made = Meeting(service.name, service.domain, own_home, patience=Patience(), sleep=lambda seconds: None)
            made.clock = lambda: shapes.NOW
            made.watch(now, most, others_done)
            return made

        if no_lease:
            leases.take = lambda name, at: "anybody"
            leases.renew = lambda name, holder, at: True
        start.wait(30)
        try:
            report = refresh.refresh(lambda: [steps.place_for(*place) for place in PLACES], make=make)
            reports.put("was running" if report.was_running else f"brought {report.brought}")
        except Exception as failed:  # report what the runner died of
            reports.put(f"failed: {failed}")
        connections.close_all()

    runners = [context.Process(target=runner) for _ in range(RUNNERS)]
    for process in runners:
        process.start()
    answers = [reports.get(timeout=60) for _ in range(RUNNERS - 1)]
    others_done.set()
    answers.append(reports.get(timeout=60))
    for process in runners:
        process.join(60)
    return {"most": most.value, "reports": sorted(answers)}


def main() -> None:
    call_command("migrate", verbosity=0)
    setting = household()
    setting.weather_service, setting.weather_contact = "met", "keeper@example.org"
    setting.save()
    for place in PLACES:
        steps.place_for(*place)
    print(json.dumps({"with": race(no_lease=False), "without": race(no_lease=True)}))


if __name__ == "__main__":
    main()
