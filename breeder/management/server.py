"""What `serve` and `demo` share: update the book, make the first keeper, and run the site."""

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

from breeder.base import access, backups
from breeder.base.addresses import home_address, is_home
from breeder.base.environment import close_to_others
from breeder.base.models import Setting
from breeder.base.roles import HELPER, KEEPER
from breeder.carriers.actions import load_example_services
from breeder.carriers.rule_actions import load_example_rules
from breeder.shipments.actions.bench import load_example_kits
from breeder.species.actions import correct_starter_set, load_starter_set

THREADS = 8
# Idle connections are closed, so that half-sent requests do not lock others out for long. waitress does not count
# connections per caller; many slow ones are a matter for a server in front (README, "Settings").
LIMITS: dict[str, Any] = {
    "connection_limit": 500,  # half of the files that a process can usually open
    "channel_timeout": 30,  # seconds without a byte
    "cleanup_interval": 5,  # seconds between two looks for such connections
    "max_request_body_size": 20_000_000,  # bytes; photos are smaller
    "asyncore_use_poll": hasattr(select, "poll"),  # Windows has none
}
LAST_PORT = 65_535
EVERYWHERE = "0.0.0.0"
Say = Callable[[str], object]


def bring_up_to_date() -> int:
    """Apply migrations, correct mistakes of an earlier starter set, and make sure the two roles exist.

    Closes the book's files to other users of this machine. Returns how many species were corrected.
    """
    close_to_others(settings.DATA_DIR, Path(settings.MEDIA_ROOT), backups.path().parent)
    call_command("migrate", verbosity=0)
    for role in (KEEPER, HELPER):
        Group.objects.get_or_create(name=role)
    return correct_starter_set()


def load_examples(*, by: User | None) -> None:
    """Load species, example services, rules and kits on the first run; existing rows stay as they are."""
    load_starter_set(by=by)
    load_example_services(by=by, today=timezone.localdate())
    load_example_rules(by=by)
    load_example_kits(by=by)


def add_person(name: str, password: str, role: str) -> User:
    """Add a person who may log in. Raises CommandError for a taken name or a weak password, saying why."""
    try:
        return access.add_person(name, password, role)
    except access.CannotAdd as refusal:
        raise CommandError(" ".join(refusal.messages)) from None


def first_keeper(say: Say) -> User | None:
    """Make the first keeper from the environment or by asking; return None if there is one already."""
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
    """Ask twice for a password, since it does not show while typed. Raises CommandError without a terminal."""
    if not sys.stdin.isatty():
        raise CommandError("Nobody can be asked for a password here. Start this where it can ask.")
    password = getpass.getpass("Password (10 signs or more): ")
    if getpass.getpass("The same password again: ") != password:
        raise CommandError("The two passwords differ. Nothing was kept; start again.")
    return password


def refuse_taken_port(host: str, port: int) -> None:
    """Raise CommandError if something already listens there, or if nothing can."""
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


def home_to_open() -> str:
    """Return the home address where the site also listens; empty behind HTTPS, where a server in front decides."""
    return "" if settings.HTTPS else home_address()


def open_to_phone(host: str, home: str, port: int, say: Say) -> None:
    """Allow the home address that the site listens at, and say what to type on the phone."""
    phone = home or (home_address() if host == EVERYWHERE else host)
    if not is_home(phone):
        return say("Only this machine can open it: no home network was found, or another address was asked for.")
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, phone]
    say(f"On a phone in the same home: http://{phone}:{port}/ (as a square code under Book, Settings).")
    return say("Plain http can be read along in that network, so use one whose password only you give out.")


def serve_site(host: str, port: int, say: Say, *, home: str = "", with_forecasts: bool = False) -> None:
    """Run the site until it is stopped, here and at the home address if there is one.

    `with_forecasts`: also fetch those of the chosen service.
    """
    from waitress import serve

    from breeder.management.forecasting import ForecastThread
    from breeder.management.warm_calendar import BoardWarmer
    from breeder.wsgi import application

    warming = BoardWarmer()
    warming.start()
    if with_forecasts:
        ForecastThread(afterwards=warming.poke).start()

    say(f"The book is open at http://{host}:{port}/ (stop it with Ctrl+C).")
    if not settings.HTTPS:
        open_to_phone(host, home, port, say)
    where = {"listen": f"{host}:{port} {home}:{port}"} if home else {"host": host, "port": port}
    # Behind HTTPS, Django reads the headers of the server in front; waitress would drop them.
    drop = not settings.HTTPS
    serve(application, **where, threads=THREADS, ident=None, clear_untrusted_proxy_headers=drop, **LIMITS)
