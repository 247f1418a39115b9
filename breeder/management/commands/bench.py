"""`manage.py bench SUBJECT`: measure how fast the demanding parts are against a named baseline, or how accurate."""

import json
from argparse import ArgumentParser
from importlib import import_module
from typing import Any

from django.core.management.base import BaseCommand, CommandError

SUBJECTS = {
    "heat": "breeder.evaluation.benchmarks.box_speed",
    "fit": "breeder.evaluation.benchmarks.fit_accuracy",
    "stock": "breeder.evaluation.benchmarks.stock_speed",
    "board": "breeder.evaluation.benchmarks.board_speed",
    "pages": "breeder.evaluation.benchmarks.pages",
}


class Command(BaseCommand):
    help = "Measure a subject. Quote ratios, not seconds: machines differ and are shared."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("subject", help=", ".join(SUBJECTS))
        parser.add_argument("--json", action="store_true", help="print JSON")

    def handle(self, *args: Any, subject: str, **options: Any) -> None:
        if subject not in SUBJECTS:
            raise CommandError(f"'{subject}' is not a subject. Measure one of: {', '.join(SUBJECTS)}.")
        figures = import_module(SUBJECTS[subject]).run()
        if options["json"]:
            self.stdout.write(json.dumps(figures, indent=2))
            return
        for name, value in figures.items():
            self.stdout.write(f"{name}: {value}")
