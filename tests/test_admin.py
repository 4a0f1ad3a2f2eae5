"""The administrator looks at the record and changes nothing; a fixture changes nothing either."""

import json
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client

from pmcore.models import Account, Placement
from pmcore.models.base import Recorded, RecordIsAppendOnly
from pmcore.models.guards import GUARDED
from tests.history import small_history
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


def test_no_fact_is_added_changed_or_deleted(administrator: Client) -> None:
    small_history()
    before = rows(Placement)
    first = before[0]["id"]
    address = "/admin/pmcore/placement/"
    changed = {"entry": 1, "device": 1, "area": 1, "from_on": "2020-01-01"}
    assert administrator.post(f"{address}add/", changed).status_code == 403
    assert administrator.post(f"{address}{first}/change/", changed).status_code == 403
    assert administrator.post(f"{address}{first}/delete/", {"post": "yes"}).status_code == 403
    administrator.post(address, {"action": "delete_selected", "_selected_action": [str(first)], "post": "yes"})
    assert rows(Placement) == before


def test_an_account_is_switched_off_not_deleted(administrator: Client) -> None:
    account = Account.objects.get(username="wim")
    assert administrator.post(f"/admin/pmcore/account/{account.pk}/delete/", {"post": "yes"}).status_code == 403
    assert administrator.get(f"/admin/pmcore/account/{account.pk}/change/").status_code == 200


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
    before = rows(Placement)
    fields = {"entry": 1, "device": world.device, "area": world.ward, "from_on": "2026-09-01", "replaced_by": None}
    for pk in (before[0]["id"], 900):
        fixture = tmp_path / f"{pk}.json"
        fixture.write_text(json.dumps([{"model": "pmcore.placement", "pk": pk, "fields": fields}]))
        with pytest.raises(RecordIsAppendOnly):
            call_command("loaddata", str(fixture), verbosity=0)
    assert rows(Placement) == before
