"""The first commands of a fresh installation."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from pmcore import clock
from pmcore.models import Account, Token
from pmcore.queries.actors import actor_of, actor_of_token

pytestmark = pytest.mark.django_db


@pytest.fixture
def password_file(tmp_path: Path) -> Path:
    file = tmp_path / "password"
    file.write_text("heron-quartz-lantern\n")
    return file


def made(password_file: Path, role: str = "administrator") -> Account:
    call_command(
        "create_account", "wim", name="Wim Ostrava-Keel", role=role, password_file=password_file, stdout=StringIO()
    )
    return Account.objects.get(username="wim")


def test_the_first_administrator_can_sign_in(password_file: Path) -> None:
    account = made(password_file)
    assert account.check_password("heron-quartz-lantern")
    assert account.is_superuser
    assert actor_of(account.pk, on=clock.now().date()).role == "administrator"


def test_no_other_role_opens_the_admin(password_file: Path) -> None:
    assert not made(password_file, "auditor").is_staff


def test_a_token_is_printed_once_and_works(password_file: Path) -> None:
    account = made(password_file)
    printed, said = StringIO(), StringIO()
    call_command("create_token", "wim", label="audit", days=30, stdout=printed, stderr=said)
    at = clock.now()
    assert actor_of_token(printed.getvalue().strip(), at=at, on=at.date()).person == account.person_id
    assert "not shown again" in said.getvalue()
    assert Token.objects.get().label == "audit"


@pytest.mark.parametrize(
    ("command", "options", "says"),
    [
        (("create_token", "nobody"), {}, "no account called 'nobody'"),
        (("create_account", "ruan"), {"name": "", "role": "manager"}, "person_details.name"),
        (("create_account", "ruan"), {"name": "R", "role": "manager", "site": ["XX"]}, "no site labelled 'XX'"),
        (
            ("create_account", "ruan"),
            {"name": "R", "role": "manager", "password_file": Path("/nowhere")},
            "cannot be read",
        ),
    ],
)
def test_a_mistake_is_named_and_nothing_is_made(
    command: tuple[str, str], options: dict[str, object], says: str, password_file: Path
) -> None:
    if command[0] == "create_account":
        options = {"password_file": password_file, **options}
    with pytest.raises(CommandError, match=says):
        call_command(*command, **options)
    assert not Account.objects.exists()
