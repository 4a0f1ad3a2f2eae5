"""Where no environment can be made or changed, one sentence says why and what to do."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.house.starts import Checkout, write

pytestmark = pytest.mark.house


@contextmanager
def supervisor_in(data: Path) -> Iterator[Path]:
    data.mkdir()
    lock_file = data / "supervisor.lock"
    with lock_file.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield lock_file


@pytest.mark.parametrize("command", [[], ["migrate"], ["help"], ["test"]])
def test_other_commands_make_nothing_and_name_setup(checkout: Checkout, command: list[str]) -> None:
    refused = checkout.start(*command)
    assert refused.returncode == 1
    assert refused.stderr == "The environment is missing or incomplete: run `python3 manage.py setup` first.\n"
    assert not checkout.environment.exists()


def test_setup_refuses_what_it_does_not_know(checkout: Checkout) -> None:
    assert "knows one option: --dev" in checkout.start("setup", "--all").stderr
    assert not checkout.environment.exists()


@pytest.mark.parametrize("module", ["venv", "ensurepip"])
def test_a_missing_module_names_the_system_package(bare: Checkout, tmp_path: Path, module: str) -> None:
    write(tmp_path / "shadow", {f"{module}.py": "raise ImportError('not installed')"})
    refused = bare.start("demo", PYTHONPATH=str(tmp_path / "shadow"))
    assert refused.returncode == 1
    assert "`apt install python3.11-venv` brings it" in refused.stderr
    assert bare.markers() == []


def test_a_missing_interpreter_names_the_system_package(checkout: Checkout) -> None:
    refused = checkout.start_with_another_version("demo")
    assert refused.returncode == 1
    assert "no python3.11 is on the path" in refused.stderr
    assert "`apt install python3.11 python3.11-venv` brings it" in refused.stderr


def test_an_interpreter_on_the_path_that_does_not_start_counts_as_missing(checkout: Checkout) -> None:
    checkout.put_on_path("python3.11", "#!/bin/sh\nexit 127\n")
    assert "no python3.11 is on the path" in checkout.start_with_another_version("demo").stderr


def test_a_lock_does_not_change_under_a_supervisor(checkout: Checkout) -> None:
    checkout.start("setup")
    checkout.run_lock.write_text("# another version\n")
    with supervisor_in(checkout.folder / "data") as lock_file:
        refused = checkout.start("setup")
        assert refused.returncode == 1
        assert f"(it holds {lock_file}): stop it first" in refused.stderr
        assert len(checkout.uv_calls()) == 1
    assert checkout.start("setup").returncode == 0
    assert len(checkout.uv_calls()) == 2


def test_the_supervisor_is_looked_for_in_the_data_folder_in_use(checkout: Checkout, tmp_path: Path) -> None:
    with supervisor_in(tmp_path / "elsewhere") as lock_file:
        assert str(lock_file) in checkout.start("pytest", PMCORE_DATA=str(lock_file.parent)).stderr
    assert checkout.uv_calls() == []


def test_tools_may_be_added_under_a_supervisor(checkout: Checkout) -> None:
    checkout.start("setup")
    with supervisor_in(checkout.folder / "data"):
        assert checkout.start("pytest").stdout == "pytest runs []\n"


def test_a_foreign_interpreter_without_pytest_is_told_what_to_install(checkout: Checkout) -> None:
    refused = checkout.start("pytest", PYTHONPATH=str(checkout.stubs / checkout.run_lock.name))
    assert refused.returncode == 1
    assert "has Django but not pytest: install requirements-dev.txt" in refused.stderr
    assert not checkout.environment.exists()


def test_an_environment_without_a_working_interpreter_is_not_touched(checkout: Checkout) -> None:
    checkout.start("setup", "--dev")
    checkout.python.unlink()
    checkout.python.symlink_to("/nowhere/python3.11")
    assert "does not start (No such file or directory): delete" in checkout.start("demo").stderr
    checkout.run_lock.write_text("# another version\n")
    assert "holds no working Python 3.11: delete that folder" in checkout.start("demo").stderr
    assert checkout.markers() == ["ready-dev", "ready-run"]


def test_an_environment_that_lost_a_package_is_not_started_for_ever(checkout: Checkout) -> None:
    checkout.start("setup")
    (checkout.environment / "lib/python3.11/site-packages/celery/__init__.py").unlink()
    (checkout.environment / "lib/python3.11/site-packages/celery").rmdir()
    assert "has lost packages: delete that folder" in checkout.start("demo").stderr
