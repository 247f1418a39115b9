#!/usr/bin/env python
"""Run a command of the stock book, such as `manage.py demo` or `manage.py serve`."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
    if sys.argv[1:2] == ["demo"]:
        from breeder.base.environment import keep_demo_apart

        keep_demo_apart()
    try:
        from django.core.management import execute_from_command_line
    except ImportError as missing:
        raise SystemExit(
            "Django is not installed here. Run the set-up line of README.md first, then use the python inside .venv."
        ) from missing
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
