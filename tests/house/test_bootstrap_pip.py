"""Without uv, pip installs what the lock names and refuses an archive with another hash."""

import hashlib
import zipfile
from pathlib import Path

import pytest

from tests.house.starts import DEV_STUBS, Checkout

pytestmark = pytest.mark.house


@pytest.fixture
def wheel(tmp_path: Path) -> Path:
    """All stubs in one archive, as a distribution named django."""
    path = tmp_path / "archives" / "django-1-py3-none-any.whl"
    path.parent.mkdir()
    contents = {
        **DEV_STUBS,
        "django-1.dist-info/METADATA": "Metadata-Version: 2.1\nName: django\nVersion: 1\n",
        "django-1.dist-info/WHEEL": "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        "django-1.dist-info/RECORD": "",
    }
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in contents.items():
            archive.writestr(name, content)
    return path


def offline(wheel: Path) -> dict[str, str]:
    return {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(wheel.parent), "PIP_CONFIG_FILE": "/dev/null"}


def test_pip_installs_the_lock(bare: Checkout, wheel: Path) -> None:
    bare.run_lock.write_text(f"django==1 --hash=sha256:{hashlib.sha256(wheel.read_bytes()).hexdigest()}\n")
    done = bare.start("demo", **offline(wheel))
    assert done.stdout == "Django runs ['demo']\n", done.stderr
    assert bare.markers() == ["ready-run"]


def test_pip_refuses_an_archive_with_another_hash(bare: Checkout, wheel: Path) -> None:
    bare.run_lock.write_text(f"django==1 --hash=sha256:{'0' * 64}\n")
    refused = bare.start("demo", **offline(wheel))
    assert refused.returncode == 1
    assert "THESE PACKAGES DO NOT MATCH THE HASHES" in refused.stderr
    assert bare.markers() == []
