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
    try:
        execute_from_command_line(sys.argv)
    except Exception as fault:
        if "--traceback" in sys.argv:
            raise
        raise SystemExit(_said(fault)) from None


def _said(fault: Exception) -> str:
    """Return a sentence for a trouble of the machine, such as a full disk. Raises any other fault anew."""
    from breeder.base.machine_faults import trouble_of

    if trouble := trouble_of(fault):
        return trouble.sentence
    raise fault


if __name__ == "__main__":
    main()
