#!/usr/bin/env python
"""Run a command of the stock book, such as `manage.py demo` or `manage.py serve`."""

if __name__ == "__main__":  # the second process of base/worker.py imports this file too, and needs no Django
    try:
        import django  # noqa: F401
    except ImportError as missing:
        raise SystemExit(
            "Django is not installed here. Run the set-up line of README.md first, then use the python inside .venv."
        ) from missing
    from breeder.__main__ import main

    main()
