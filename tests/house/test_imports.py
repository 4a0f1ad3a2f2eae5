"""Imports go one way."""

from pathlib import Path

import pytest

from tests.house.tools import check_finds_nothing, report

pytestmark = pytest.mark.house

# The package has no `python -m` form of its own.
LINT = ("-c", "from importlinter.cli import lint_imports_command; lint_imports_command()")

BROKEN = """
[tool.importlinter]
root_packages = ["pmcore"]
[[tool.importlinter.contracts]]
name = "Broken on purpose: settings do read the environment"
type = "forbidden"
source_modules = ["pmcore.settings"]
forbidden_modules = ["pmcore.environment"]
"""


def test_every_import_contract_is_kept() -> None:
    check_finds_nothing(*LINT)


def test_a_broken_contract_is_seen(tmp_path: Path) -> None:
    contracts = tmp_path / "contracts.toml"
    contracts.write_text(BROKEN)
    assert "pmcore.settings -> pmcore.environment" in report(*LINT, "--config", str(contracts))
