"""The first commands of a fresh installation."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from pmcore import clock
from pmcore.models import Account, Site, Token
from pmcore.queries.actors import actor_of, actor_of_token
from pmcore.services.sites import open_site
from tests.cast import check_refused

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


def test_a_first_installation_begins_with_commands_and_services(password_file: Path) -> None:
    account = made(password_file)
    at = clock.now()
    wim = actor_of(account.pk, on=clock.today(at, "Pacific/Honolulu"))
    open_site(label="AG", name="Alderwick General", time_zone="Europe/London", from_on=at.date(), actor=wim, at=at)
    call_command(
        "create_account", "ruan", name="Ruan Tesk", role="technician", site=["AG", "AG"],
        password_file=password_file, stdout=StringIO(),
    )  # fmt: skip
    ruan = actor_of(Account.objects.get(username="ruan").pk, on=at.date())
    assert ruan.sites == frozenset(Site.objects.values_list("pk", flat=True))


def test_a_password_keeps_its_spaces(tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text(" heron quartz \n")
    assert made(file).check_password(" heron quartz ")


def test_the_same_name_is_refused_the_second_time(password_file: Path) -> None:
    made(password_file)
    with check_refused(CommandError, "already an account called 'wim'"):
        made(password_file)


@pytest.mark.parametrize(("days", "says"), [(0, "before it is made"), (-1, "before"), (10**9, "calendar")])
def test_a_token_for_days_that_make_no_sense_is_refused(password_file: Path, days: int, says: str) -> None:
    made(password_file)
    with pytest.raises(CommandError, match=says):
        call_command("create_token", "wim", days=days)
    assert not Token.objects.exists()


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
        (("create_account", "ruan"), {"name": "R", "role": "king"}, "invalid choice"),
        (("create_account", "ruan"), {"name": "R", "role": "system"}, "invalid choice"),
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
