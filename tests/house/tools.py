"""Runs the tools of the checkout as a developer would."""

import subprocess
import sys

import pytest

from tests.house.checkout import ROOT


def report(*arguments: str) -> str:
    """What `python -m …` finds fault with: empty when it ends well, otherwise everything that it printed."""
    done = subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True)
    return "" if done.returncode == 0 else f"exit {done.returncode}\n{done.stdout}{done.stderr}"


def check_finds_nothing(*arguments: str) -> None:
    found = report(*arguments)
    if found:
        pytest.fail(found, pytrace=False)
