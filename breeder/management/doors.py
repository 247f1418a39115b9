"""What `serve` and `demo` share: bringing the book up to date, the first keeper, and the site itself."""

import getpass
import os
import select
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import Group, User
from django.core.management import CommandError, call_command
from django.utils import timezone

from breeder.carriers.actions import load_example_services
from breeder.carriers.rule_actions import load_example_rules
from breeder.house import access, backups
from breeder.house.models import Setting
from breeder.house.roles import HELPER, KEEPER
from breeder.house.surroundings import close_to_others
from breeder.packing.actions import load_example_kits
from breeder.taxa.actions import load_starter_set

THREADS = 8
# Whoever sends nothing more is sent away, so that half-sent requests do not keep the others out for long. waitress
# counts no callers: what it cannot see (many connections, each dripping) is for a server in front (README, "Settings").
LIMITS: dict[str, Any] = {
    "connection_limit": 500,  # half of the files that a process may usually open
    "channel_timeout": 30,  # seconds without a byte
    "cleanup_interval": 5,  # seconds between two looks for such connections
    "max_request_body_size": 20_000_000,  # bytes; the largest photo is below it
    "asyncore_use_poll": hasattr(select, "poll"),  # Windows has none
}
LAST_PORT = 65_535
Say = Callable[[str], object]


def bring_up_to_date() -> None:
    """Apply migrations, see that the two roles exist, and that nobody else on this machine reads the book."""
    close_to_others(settings.DATA_DIR, Path(settings.MEDIA_ROOT), backups.path().parent)
    call_command("migrate", verbosity=0)
    for role in (KEEPER, HELPER):
        Group.objects.get_or_create(name=role)


def load_examples(*, by: User | None) -> None:
    """On first run: species, example services and kits to start from; what is there already is left alone."""
    load_starter_set(by=by)
    load_example_services(by=by, today=timezone.localdate())
    load_example_rules(by=by)
    load_example_kits(by=by)


def add_person(name: str, password: str, role: str) -> User:
    """Add somebody who may log in. Raises CommandError for a taken name or a weak password, saying why."""
    try:
        return access.add_person(name, password, role)
    except access.CannotAdd as refusal:
        raise CommandError(" ".join(refusal.messages)) from None


def first_keeper(say: Say) -> User | None:
    """Make the first keeper from the environment or by asking; None when there is one already."""
    if User.objects.filter(groups__name=KEEPER).exists():
        return None
    name, password = os.environ.get("BREEDER_KEEPER", ""), os.environ.get("BREEDER_KEEPER_PASSWORD", "")
    if not (name and password):
        if not sys.stdin.isatty():
            raise CommandError(
                "There is no keeper yet. Set BREEDER_KEEPER and BREEDER_KEEPER_PASSWORD, "
                "or start this where it can ask."
            )
        say("This book has no keeper yet. Choose the name and password you log in with.")
        name, password = input("Name: ").strip(), ask_password()
    keeper = add_person(name, password, KEEPER)
    Setting.objects.get_or_create(pk=Setting.ONLY)
    say(f"{name} is the keeper of this book.")
    return keeper


def ask_password() -> str:
    """Ask twice for a password, since nobody sees what is typed. Raises CommandError where nobody can be asked."""
    if not sys.stdin.isatty():
        raise CommandError("Nobody can be asked for a password here. Start this where it can ask.")
    password = getpass.getpass("Password (10 signs or more): ")
    if getpass.getpass("The same password again: ") != password:
        raise CommandError("The two passwords differ. Nothing was kept; start again.")
    return password


def refuse_taken(host: str, port: int) -> None:
    """Raise CommandError if something already listens there, or nothing can."""
    if not 0 < port <= LAST_PORT:
        raise CommandError(f"{port} is no port. Choose one from 1024 to {LAST_PORT}, such as --port 8000.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as trouble:
            raise CommandError(
                f"Port {port} on {host} cannot be used: {trouble.strerror}. "
                f"Stop what runs there, or choose another with --port {port + 1}."
            ) from None


def serve_site(host: str, port: int, say: Say, *, with_forecasts: bool = False) -> None:
    """Run the site until it is stopped; with forecasts, those of the chosen service are brought meanwhile."""
    from waitress import serve

    from breeder.management.forecasting import BesideTheSite
    from breeder.management.warming import Warming
    from breeder.wsgi import application

    warming = Warming()
    warming.start()
    if with_forecasts:
        BesideTheSite(afterwards=warming.poke).start()

    say(f"The book is open at http://{host}:{port}/ (stop it with Ctrl+C).")
    # Behind HTTPS the settings ask the server in front how a page was asked for; waitress would drop its word.
    drop = not settings.HTTPS
    asked = {"host": host, "port": port, "threads": THREADS, "ident": None, "clear_untrusted_proxy_headers": drop}
    serve(application, **asked, **LIMITS)
