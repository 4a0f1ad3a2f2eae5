"""The Compose file and the image, by the schema of the Compose specification and by what they promise. No engine runs
them here."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings

from tests.house.checkout import ROOT
from tests.house.tools import check_finds_nothing, report

pytestmark = pytest.mark.house

VALIDATE = ("-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec")
TEXT = (ROOT / "docker-compose.yml").read_text()
SERVICES: dict[str, dict[str, Any]] = yaml.safe_load(TEXT)["services"]
OURS = {name: service for name, service in SERVICES.items() if service["image"] == "pmcore"}
DOCKERFILE = (ROOT / "Dockerfile").read_text()


def command(service: dict[str, Any]) -> str:
    return " ".join(service.get("command", []))


def test_the_compose_file_keeps_to_the_specification() -> None:
    check_finds_nothing(*VALIDATE, "docker-compose.yml")


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("service_healthy", "service_is_well"),
        ("healthcheck:", "health:"),
        ('restart: "no"', "restart: 7"),
    ],
)
def test_a_compose_file_that_breaks_it_is_seen(tmp_path: Path, right: str, wrong: str) -> None:
    assert right in TEXT
    broken = tmp_path / "docker-compose.yml"
    broken.write_text(TEXT.replace(right, wrong))
    assert "Schema validation errors" in report(*VALIDATE, str(broken))


def test_there_is_exactly_one_scheduler_and_no_second_can_be_started() -> None:
    schedulers = [service for service in SERVICES.values() if re.search(r"\bbeat\b|\s(-B|--beat)\b", command(service))]
    assert [service.get("container_name") for service in schedulers] == ["pmcore-scheduler"]


def test_every_queue_has_a_worker_of_its_own() -> None:
    taken = [queue for service in OURS.values() for queue in re.findall(r"--queues (\S+)", command(service))]
    assert sorted(taken) == sorted(settings.CELERY_TASK_QUEUES)


def test_everything_of_ours_waits_for_the_migration_and_that_for_the_database() -> None:
    waits = {name: service["depends_on"] for name, service in OURS.items()}
    assert waits.pop("migrate") == {"database": {"condition": "service_healthy"}}
    assert {each["migrate"]["condition"] for each in waits.values()} == {"service_completed_successfully"}
    assert {each["queue"]["condition"] for each in waits.values()} == {"service_healthy"}
    assert SERVICES["migrate"]["restart"] == "no"


def test_no_secret_stands_in_the_file_and_a_missing_one_stops_the_start() -> None:
    for name in ("POSTGRES_PASSWORD", "PMCORE_SECRET_KEY", "PMCORE_HOSTS"):
        uses = re.findall(rf"\$\{{{name}[^}}]*\}}", TEXT)
        assert uses
        assert all(use.startswith(f"${{{name}:?") for use in uses)


def test_database_queue_and_web_say_whether_they_are_well() -> None:
    assert {name for name, service in SERVICES.items() if "healthcheck" in service} == {"database", "queue", "web"}


def test_only_the_web_is_reached_and_from_this_machine_alone() -> None:
    reached = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert reached == {"web": ["127.0.0.1:8000:8000"]}


def test_the_image_installs_the_run_lock_by_its_hashes_and_makes_no_environment() -> None:
    assert DOCKERFILE.splitlines()[1] == "FROM python:3.11-slim"
    assert re.search(r"pip install .*--require-hashes -r requirements\.txt$", DOCKERFILE, re.MULTILINE)
    assert "manage.py" not in DOCKERFILE
    assert not re.search(r"\bvenv\b|requirements-dev", DOCKERFILE)


def test_the_image_runs_as_a_user_without_rights() -> None:
    assert re.findall(r"^USER (\S+)$", DOCKERFILE, re.MULTILINE) == ["pmcore"]
    assert DOCKERFILE.index("USER pmcore") < DOCKERFILE.index("CMD [")


def test_data_environment_and_secrets_stay_out_of_the_image() -> None:
    left_out = set((ROOT / ".dockerignore").read_text().splitlines())
    assert {".git", ".venv", "data", ".env"} <= left_out
