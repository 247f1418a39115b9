"""The one Django app; its rooms are packages inside it."""

from django.apps import AppConfig


class BreederConfig(AppConfig):
    name = "breeder"
    verbose_name = "Stock book"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_logged_in
        from django.db.models.signals import post_migrate

        from breeder.base import checks, sessions  # noqa: F401  (checks registers the start-up checks)
        from breeder.cultures.belief_renewal import renew_after_migrating
        from breeder.cultures.ledger_triggers import guard_ledger

        # AlterField rebuilds SQLite tables and drops their triggers, so they are laid after every migration.
        post_migrate.connect(guard_ledger, sender=self)
        post_migrate.connect(renew_after_migrating, sender=self)
        user_logged_in.connect(sessions.remember_browser)
