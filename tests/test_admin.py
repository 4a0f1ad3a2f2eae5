"""The administrator looks at the record and changes nothing; a fixture changes nothing either."""

import json
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client

from pmcore.admin import ReadOnly, site
from pmcore.models import Account, Follower, Job, Placement, Token
from pmcore.models.base import Recorded, RecordIsAppendOnly
from pmcore.models.guards import GUARDED
from pmcore.queries.actors import token_digest
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from tests.history import AT, small_history
from tests.samples import Everything

pytestmark = pytest.mark.django_db


@pytest.fixture
def administrator(client: Client) -> Client:
    client.force_login(Account.objects.create_superuser("wim", "wim@example.org", "heron-quartz-lantern"))
    return client


def rows(model: type[Recorded]) -> list[dict[str, object]]:
    return list(model.objects.order_by("pk").values())


def test_every_table_can_be_looked_at(administrator: Client) -> None:
    Everything().write()
    for model in GUARDED:
        address = f"/admin/pmcore/{model._meta.model_name}/"
        assert administrator.get(address).status_code == 200, address
        first = model.objects.first()
        assert first is not None
        assert administrator.get(f"{address}{first.pk}/change/").status_code == 200, address


def test_nothing_recorded_is_added_changed_or_deleted(administrator: Client) -> None:
    Everything().write()
    verified = verify()
    for model in GUARDED:
        before = rows(model)
        first = before[0][model._meta.pk.attname]
        address = f"/admin/pmcore/{model._meta.model_name}/"
        changed = {name: str(value) for name, value in before[0].items()}
        assert administrator.post(f"{address}add/", changed).status_code == 403
        assert administrator.post(f"{address}{first}/change/", changed).status_code == 403
        assert administrator.post(f"{address}{first}/delete/", {"post": "yes"}).status_code == 403
        chosen = {"action": "delete_selected", "_selected_action": [str(first)], "post": "yes"}
        assert b"delete_selected" not in administrator.post(address, chosen).content
        assert rows(model) == before
    assert verify() == verified


def test_a_placement_cannot_be_edited_even_with_a_well_filled_form(administrator: Client) -> None:
    world = small_history()
    before = rows(Placement)
    form = {"entry": 1, "device": world.device, "area": world.ward, "from_on": "2020-01-01", "_save": "Save"}
    assert administrator.post("/admin/pmcore/placement/add/", form).status_code == 403
    assert administrator.post(f"/admin/pmcore/placement/{before[0]['id']}/change/", form).status_code == 403
    assert rows(Placement) == before


def test_a_token_is_looked_at_without_its_hash_and_not_changed(administrator: Client) -> None:
    token = Token.objects.create(
        account=Account.objects.get(username="wim"), digest=token_digest("raw"), label="report", made_at=AT
    )
    for address in ("", f"{token.pk}/change/"):
        page = administrator.get(f"/admin/pmcore/token/{address}")
        assert page.status_code == 200
        assert b"report" in page.content
        assert token.digest.encode() not in page.content
    assert administrator.post(f"/admin/pmcore/token/{token.pk}/delete/", {"post": "yes"}).status_code == 403
    assert administrator.post("/admin/pmcore/token/add/", {}).status_code == 403


def test_jobs_and_followers_are_looked_at_and_not_changed(administrator: Client) -> None:
    Job.objects.create(kind="export", unique_key="1", asked_at=AT)
    Follower.objects.create(name="alerts")
    for model in (Job, Follower):
        address = f"/admin/pmcore/{model._meta.model_name}/"
        first = model.objects.get().pk
        assert administrator.get(address).status_code == 200
        assert administrator.get(f"{address}{first}/change/").status_code == 200
        assert administrator.post(f"{address}{first}/delete/", {"post": "yes"}).status_code == 403
        assert administrator.post(f"{address}add/", {}).status_code == 403


def test_an_account_is_looked_at_without_its_password_and_not_changed(administrator: Client) -> None:
    world = small_history()
    account = Account.objects.get(username="wim")
    before = Account.objects.values().get()
    address = "/admin/pmcore/account/"
    for shown in (address, f"{address}{account.pk}/change/"):
        page = administrator.get(shown)
        assert b"wim@example.org" in page.content
        assert account.password.encode() not in page.content
    joined = {"person": str(world.person), "username": "wim", "is_superuser": ""}
    assert administrator.post(f"{address}{account.pk}/change/", joined).status_code == 403
    administrator.post(
        f"{address}{account.pk}/password/", {"password1": "another-1-word", "password2": "another-1-word"}
    )
    assert administrator.post(f"{address}{account.pk}/delete/", {"post": "yes"}).status_code == 403
    assert administrator.post(f"{address}add/", {"username": "guest"}).status_code == 403
    chosen = {"action": "delete_selected", "_selected_action": [str(account.pk)], "post": "yes"}
    assert b"delete_selected" not in administrator.post(address, chosen, follow=True).content
    assert Account.objects.values().get() == before


def test_nothing_else_is_changed_there() -> None:
    writable = [model for model, view in site._registry.items() if not isinstance(view, ReadOnly)]
    assert writable == []


def test_a_stranger_is_sent_to_sign_in(client: Client) -> None:
    assert client.get("/admin/pmcore/placement/").status_code == 302
    assert client.get("/accounts/login/").status_code == 200


def test_nobody_signs_up_by_themselves(client: Client) -> None:
    client.post(
        "/accounts/signup/",
        {"username": "guest", "password1": "heron-quartz-lantern", "password2": "heron-quartz-lantern"},
    )
    assert not Account.objects.exists()


def test_loaddata_is_refused(tmp_path: Path) -> None:
    world = small_history()
    before, size = rows(Placement), head().size
    fields = {"entry": 1, "device": world.device, "area": world.ward, "from_on": "2026-09-01", "replaced_by": None}
    for pk in (before[0]["id"], 900):
        fixture = tmp_path / f"{pk}.json"
        fixture.write_text(json.dumps([{"model": "pmcore.placement", "pk": pk, "fields": fields}]))
        with pytest.raises(RecordIsAppendOnly):
            call_command("loaddata", str(fixture), verbosity=0)
    assert rows(Placement) == before
    assert head().size == size
