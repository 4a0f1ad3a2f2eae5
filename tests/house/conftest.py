from pathlib import Path

import pytest

from tests.house.starts import Checkout


@pytest.fixture
def bare(tmp_path: Path) -> Checkout:
    """A fresh checkout on a machine without uv."""
    return Checkout(tmp_path)


@pytest.fixture
def checkout(bare: Checkout) -> Checkout:
    """A fresh checkout on a machine with uv."""
    bare.put_uv_on_path()
    return bare
