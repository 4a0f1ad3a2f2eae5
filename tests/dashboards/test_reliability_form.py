"""What the reliability page is asked with stands in its form, in plain words, and nothing that was asked is lost."""

import re

import pytest
from django.test import Client

from pmcore.engines.vocabulary import Discovery, Role, Subsystem
from tests.cast import AT, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.reliability_cast import Fleet, a_fleet

pytestmark = pytest.mark.django_db


@pytest.fixture
def fleet(monkeypatch: pytest.MonkeyPatch) -> Fleet:
    set_clock(monkeypatch, AT)
    return a_fleet()


@pytest.fixture
def manager(fleet: Fleet) -> Client:
    return signed_in(fleet.manager)


def options(client: Client, query: str, name: str, status: int = 200) -> dict[str, str]:
    """By value, the words of one field's choices; the chosen one begins with a star."""
    answer = client.get(f"/reliability/?{query}")
    assert answer.status_code == status
    (field,) = re.findall(rf'<select name="{name}".*?</select>', answer.content.decode(), re.DOTALL)
    found = re.findall(r'<option value="([^"]*)"( selected)?>([^<]*)</option>', field)
    return {value: "*" * bool(chosen) + words for value, chosen, words in found}


def test_each_of_its_fields_shows_what_was_asked(manager: Client) -> None:
    query = "subsystem=drive&discovery=found_at_inspection&evidence=usable_for_intervals"
    assert options(manager, query, "subsystem")[Subsystem.DRIVE] == "*Drive"
    assert options(manager, query, "discovery")[Discovery.INSPECTION] == "*At an inspection"
    assert options(manager, query, "evidence") == {
        "all": "Any cause", "usable_for_intervals": "*Those that inspections could prevent",
    }  # fmt: skip


def test_what_can_never_be_a_failure_is_not_offered(manager: Client) -> None:
    assert set(options(manager, "", "discovery")) == {"", *Discovery} - {Discovery.INCOMING}
    assert options(manager, "discovery=found_at_incoming", "discovery")["found_at_incoming"] == "*found_at_incoming"


def test_areas_are_those_of_the_site_or_of_all_that_are_the_askers(manager: Client, fleet: Fleet) -> None:
    everywhere = set(options(manager, "", "area")) - {""}
    of_each = [set(options(manager, f"site={site}", "area")) - {""} for site in fleet.sites.values()]
    assert all(of_each)
    assert everywhere == set.union(*of_each)
    assert sum(map(len, of_each)) == len(everywhere)
    one = signed_in(a_person("Odd Ferrant", Role.MANAGER, next(iter(fleet.sites.values()))))
    assert set(options(one, "", "area")) - {""} == of_each[0]
    area = min(everywhere)
    assert options(manager, f"area={area}", "area")[area].startswith("*")


def test_several_of_one_field_are_sent_again_as_they_were_asked(manager: Client) -> None:
    assert options(manager, "subsystem=drive,alarms", "subsystem")["drive,alarms"] == "*several"
    assert options(manager, "subsystem=drive&subsystem=alarms", "subsystem")["drive,alarms"] == "*several"


def test_what_will_not_do_stands_beside_its_field(manager: Client) -> None:
    answer = manager.get("/reliability/?discovery=by_luck&evidence=none&area=ward")
    page = answer.content.decode()
    assert answer.status_code == 400
    for name in ("discovery", "evidence", "area"):
        assert f'id="f-{name}-wrong"' in page
    assert options(manager, "discovery=by_luck", "discovery", 400)["by_luck"] == "*by_luck"
    assert 'type="hidden" name="discovery"' not in page
