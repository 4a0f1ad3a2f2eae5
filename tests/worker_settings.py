"""The settings of an installation under test. Runs that share one Redis each have keys of their own, so that no worker
takes the messages of another run."""

import os

from pmcore.settings import *  # noqa: F403
from pmcore.settings import REDIS_OPTIONS, REDIS_URL

if REDIS_URL:
    CELERY_BROKER_TRANSPORT_OPTIONS = {**REDIS_OPTIONS, "global_keyprefix": os.environ["PMCORE_TEST_PREFIX"]}
