"""The command builds the demonstration and exits; it cannot serve it yet."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from pmcore.management.commands import demo
from pmcore.queries.head import head
from tests.cast import a_hospital

pytestmark = pytest.mark.django_db


def said(*arguments: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("demo", *arguments, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_it_builds_with_progress_on_one_line_and_says_when_it_is_there() -> None:
    out, progress = said("--no-serve", "--devices", "60", "--seed", "2")
    assert out == f"Built Quillmere Health (seed 2, 60 devices): {head().size:,} entries.\n"
    assert progress.count("\n") == 1
    assert "Months: 36 of 36" in progress
    assert said("--no-serve", "--devices", "60", "--seed", "2") == (
        "Already built: Quillmere Health (seed 2, 60 devices).\n", ""
    )  # fmt: skip


def test_without_no_serve_it_says_that_there_are_no_pages_yet() -> None:
    with pytest.raises(CommandError, match="no pages to serve yet") as refused:
        said()
    assert refused.value.returncode == 2
    assert head().size == 0


def test_it_builds_nothing_into_a_record_in_use() -> None:
    a_hospital()
    size = head().size
    with pytest.raises(CommandError, match="already holds something else"):
        said("--no-serve")
    assert head().size == size


def test_interrupted_it_says_how_to_start_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(**options: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(demo, "build_demo", interrupted)
    with pytest.raises(CommandError, match=r"not finished\. Delete the data folder"):
        said("--no-serve")
    assert head().size == 0


def test_too_few_devices_are_refused() -> None:
    with pytest.raises(CommandError, match="at least 60"):
        said("--no-serve", "--devices", "59")
    assert head().size == 0
