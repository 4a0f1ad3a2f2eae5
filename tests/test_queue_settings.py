"""Settings of the queue that must fit one another."""

from typing import Any

import pytest
from django.conf import settings

from pmcore.celery import app
from pmcore.services import jobs
from pmcore.tasks import run_job, sweep_jobs


def test_a_task_is_stopped_before_redis_would_give_it_to_another_worker() -> None:
    assert run_job.soft_time_limit < run_job.time_limit < settings.REDIS_OPTIONS["visibility_timeout"]


@pytest.mark.parametrize("task", [run_job, sweep_jobs])
def test_a_task_is_done_again_when_its_worker_is_lost_but_not_for_ever(task: Any) -> None:
    assert (task.acks_late, task.retry_on_worker_lost, task.max_retries, task.reject_on_worker_lost) == (
        True,
        True,
        3,
        False,
    )


@pytest.mark.parametrize("name", sorted(settings.CELERY_BEAT_SCHEDULE))
def test_what_is_sent_by_the_clock_exists_and_expires_before_the_next(name: str) -> None:
    entry = app.conf.beat_schedule[name]
    app.loader.import_default_modules()
    assert entry["task"] in app.tasks
    assert entry["options"]["queue"] in app.amqp.queues
    assert entry["options"]["expires"] < entry["schedule"]


@pytest.mark.parametrize("name", ["sweep_alerts", "follow_alerts", "sweep_mails", "sweep_jobs", "sweep_standings"])
def test_what_somebody_waits_for_is_looked_for_every_minute(name: str) -> None:
    assert app.conf.beat_schedule[name]["schedule"] == 60


def test_jobs_go_to_the_queue_of_long_work() -> None:
    assert run_job.name == jobs.RUN
    assert app.amqp.router.route({}, jobs.RUN)["queue"].name == "long"


def test_results_are_kept_nowhere_and_messages_are_json_alone() -> None:
    assert (app.conf.result_backend, app.conf.task_ignore_result) == (None, True)
    assert (app.conf.accept_content, app.conf.task_serializer) == (["json"], "json")
