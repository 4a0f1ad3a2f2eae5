"""The environment is made when it is missing, once, and every command goes on in it."""

import sys

import pytest

from tests.house.starts import Checkout

pytestmark = pytest.mark.house

OPTIONS = "--quiet --only-binary :all: --require-hashes"


def test_setup_makes_the_environment_and_says_so_in_one_sentence(checkout: Checkout) -> None:
    done = checkout.start("setup")
    assert done.returncode == 0
    assert done.stdout == "The environment is ready: go on with `python3 manage.py demo`.\n"
    assert checkout.uv_calls() == [f"pip install --python {checkout.python} {OPTIONS} -r {checkout.run_lock}"]
    assert checkout.markers() == ["ready-run"]


def test_any_command_goes_on_in_the_environment(checkout: Checkout) -> None:
    checkout.start("setup")
    assert checkout.start("migrate", "--plan").stdout == "Django runs ['migrate', '--plan']\n"


def test_nothing_is_installed_twice(checkout: Checkout) -> None:
    checkout.start("setup")
    checkout.start("setup")
    checkout.start("migrate")
    assert len(checkout.uv_calls()) == 1


def test_demo_makes_what_is_missing_and_runs(checkout: Checkout) -> None:
    assert checkout.start("demo").stdout == "Django runs ['demo']\n"


def test_pytest_makes_the_development_environment_and_runs_with_its_arguments(checkout: Checkout) -> None:
    assert checkout.start("pytest", "-k", "due dates").stdout == "pytest runs ['-k', 'due dates']\n"
    assert checkout.uv_calls() == [f"pip install --python {checkout.python} {OPTIONS} -r {checkout.dev_lock}"]


def test_the_development_environment_runs_everything(checkout: Checkout) -> None:
    checkout.start("setup", "--dev")
    assert checkout.markers() == ["ready-dev", "ready-run"]
    assert checkout.start("demo").stdout == "Django runs ['demo']\n"
    assert len(checkout.uv_calls()) == 1


def test_a_changed_lock_is_installed_again(checkout: Checkout) -> None:
    checkout.start("setup")
    checkout.run_lock.write_text("# another version\n")
    refused = checkout.start("migrate")
    assert refused.returncode == 1
    assert refused.stderr == "requirements.txt has changed: run `python3 manage.py setup` first.\n"
    assert checkout.start("demo").stdout == "Django runs ['demo']\n"
    assert len(checkout.uv_calls()) == 2
    assert checkout.markers() == ["ready-run"]


def test_a_changed_development_lock_concerns_pytest_alone(checkout: Checkout) -> None:
    checkout.start("pytest")
    checkout.dev_lock.write_text("# another tool\n")
    checkout.start("migrate")
    assert len(checkout.uv_calls()) == 1
    checkout.start("pytest")
    assert len(checkout.uv_calls()) == 2


def test_pytest_needs_both_locks_as_they_are(checkout: Checkout) -> None:
    checkout.start("pytest")
    checkout.run_lock.write_text("# another version\n")
    checkout.start("pytest")
    assert len(checkout.uv_calls()) == 2
    assert checkout.markers() == ["ready-dev", "ready-run"]


def test_two_starts_at_once_install_once(checkout: Checkout) -> None:
    assert checkout.start_twice_at_once("setup") == [0, 0]
    assert len(checkout.uv_calls()) == 1


def test_an_installation_that_failed_is_done_again(checkout: Checkout) -> None:
    checkout.run_lock.write_text("# unreachable\n")
    failed = checkout.start("demo")
    assert failed.returncode == 1
    assert "failed for the reason above" in failed.stderr
    assert checkout.markers() == []
    checkout.run_lock.write_text("# reachable\n")
    assert checkout.start("demo").stdout == "Django runs ['demo']\n"


def test_inside_the_environment_nothing_happens_twice(checkout: Checkout) -> None:
    checkout.start("setup", "--dev")
    assert checkout.start("migrate", python=checkout.python).stdout == "Django runs ['migrate']\n"
    assert checkout.start("pytest", "-x", python=checkout.python).stdout == "pytest runs ['-x']\n"
    assert len(checkout.uv_calls()) == 1


def test_inside_an_environment_without_a_marker_nothing_happens_either(checkout: Checkout) -> None:
    checkout.start("setup", "--dev")
    for marker in checkout.environment.glob("ready-*"):
        marker.unlink()
    assert checkout.start("pytest", "-x", python=checkout.python).stdout == "pytest runs ['-x']\n"
    assert len(checkout.uv_calls()) == 1


def test_setup_inside_an_environment_without_a_marker_completes_it(checkout: Checkout) -> None:
    checkout.start("setup")
    for marker in checkout.environment.glob("ready-*"):
        marker.unlink()
    assert checkout.start("setup", python=checkout.python).returncode == 0
    assert checkout.markers() == ["ready-run"]


def test_pytest_inside_the_run_environment_adds_the_tools(checkout: Checkout) -> None:
    checkout.start("setup")
    assert checkout.start("pytest", python=checkout.python).stdout == "pytest runs []\n"
    assert checkout.uv_calls()[1].endswith(f"-r {checkout.dev_lock}")


def test_an_interpreter_that_has_every_package_is_used_as_it_is(checkout: Checkout) -> None:
    packages = str(checkout.stubs / checkout.dev_lock.name)
    assert checkout.start("migrate", PYTHONPATH=packages).stdout == "Django runs ['migrate']\n"
    assert "no environment is needed" in checkout.start("setup", "--dev", PYTHONPATH=packages).stdout
    assert not checkout.environment.exists()


def test_another_version_finds_the_right_one_on_the_path(checkout: Checkout) -> None:
    checkout.put_on_path("python3.11", f'#!/bin/sh\nexec {sys.executable} "$@"\n')
    assert checkout.start_with_another_version("demo").stdout == "Django runs ['demo']\n"
