"""Run a command of the stock book where it is installed: `underbark serve`, or `python -m breeder serve`."""

import os
import sys


def main() -> None:
    """Run the command named on the command line."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
    if sys.argv[1:2] == ["demo"]:
        from breeder.base.environment import keep_demo_apart

        keep_demo_apart()
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except Exception as fault:
        if "--traceback" in sys.argv:
            raise
        raise SystemExit(_sentence(fault)) from None


def _sentence(fault: Exception) -> str:
    """Return what to say of a fault of the machine, such as a full disk. Raises any other fault anew."""
    from breeder.base.machine_faults import trouble_of

    if trouble := trouble_of(fault):
        return trouble.sentence
    raise fault


if __name__ == "__main__":
    main()
