"""Puts the guards around migrations, and refuses to start without them."""

from django.apps import AppConfig


class PmcoreConfig(AppConfig):
    name = "pmcore"
    default = True

    def ready(self) -> None:
        from django.db.models.signals import post_migrate, pre_migrate

        from pmcore import celery, checks  # noqa: F401  (the queue that `wake` means; the checks)
        from pmcore.models import guards

        pre_migrate.connect(guards.before_migration, sender=self)
        post_migrate.connect(guards.after_migration, sender=self)
