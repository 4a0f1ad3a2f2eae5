"""The queue wakes somebody up; what there is to do stands in the database."""

import os
from typing import Any

from celery import Celery
from celery.signals import worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")

app = Celery("pmcore")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["pmcore"])


@worker_init.connect
def _refuse_to_start_unguarded(**_: Any) -> None:
    from django.core.exceptions import ImproperlyConfigured

    from pmcore.checks import refuse_to_start_unguarded

    try:
        refuse_to_start_unguarded()
    except ImproperlyConfigured as error:
        raise SystemExit(str(error)) from error  # a signal's receivers may raise any other error unheard
