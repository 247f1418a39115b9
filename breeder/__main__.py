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

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
