"""Rules of who is told of what are made and changed on a page; nothing typed is lost at any refusal."""

import datetime as dt
import html
import re
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from dashboards.alert_rule_words import WHOM
from dashboards.typed import SAID
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.queries.alert_rules import RuleOnADay, Step, rules_on
from pmcore.queries.head import head
from pmcore.services.alert_rules import make_default_rules, make_rule
from pmcore.services.refusals import RecordBusy
from tests.cast import AT, Hospital, a_person
from tests.dashboards.signed_in import signed_in

pytestmark = pytest.mark.django_db

TODAY = AT.date()
LATER = TODAY + dt.timedelta(days=3)
NEW = "/alerts/rules/new/"
GOOD = {
    "key": "k-1", "kind": "overdue", "site": "every", "days:1": "2", "role:1": "technician", "days:2": "9",
    "role:2": "manager", "how": "6", "from_on": TODAY.isoformat(),
}  # fmt: skip


@pytest.fixture
def odile(hospital: Hospital) -> Client:
    return signed_in(hospital.odile)


def a_rule(kind: AlertKind = AlertKind.OVERDUE, **options: Any) -> int:
    given: dict[str, Any] = {"steps": [Step(1, Role.TECHNICIAN), Step(7, Role.SCHEDULER)], "at_once": False}
    return make_rule(kind=kind, from_on=TODAY, actor=SYSTEM, at=AT, **{**given, **options}).subject


def text_of(answer: Any, status: int = 200) -> str:
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


def rules(day: dt.date = TODAY) -> list[RuleOnADay]:
    return rules_on(day, head().size)


def form_of(page: str) -> dict[str, str]:
    """What a browser would send of the form as it stands."""
    sent = dict(re.findall(r'<input[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', page))
    for name, inner in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', page):
        chosen = re.search(r'<option value="([^"]*)" selected', inner)
        sent[name] = chosen.group(1) if chosen else ""
    for name, value in re.findall(r'<input type="radio" name="([^"]+)"[^>]*value="([^"]*)" checked', page):
        sent[name] = value
    return {name: value for name, value in sent.items() if name != "csrfmiddlewaretoken"}


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.SYSTEM}))
def test_the_office_alone_makes_and_changes_rules(hospital: Hospital, role: Role) -> None:
    client = signed_in(a_person("Somebody", role, hospital.alderwick, hospital.stennet))
    office = role in {Role.MANAGER, Role.ADMINISTRATOR}
    for address in ("/alerts/rules/", NEW, f"/alerts/rules/{a_rule(hour=5)}/"):
        assert client.get(address).status_code == (200 if office else 403)
    assert client.post(NEW, GOOD).status_code == (302 if office else 403)


def test_every_rule_leads_to_its_form(odile: Client) -> None:
    make_default_rules(from_on=TODAY, actor=SYSTEM, at=AT)
    page = text_of(odile.get("/alerts/rules/"))
    for rule in rules():
        assert f'href="/alerts/rules/{rule.rule}/"' in page
    assert f'href="{NEW}"' in page


# A new rule


def test_a_rule_is_added(hospital: Hospital, odile: Client) -> None:
    answer = odile.post(NEW, {**GOOD, "site": str(hospital.stennet)}, follow=True)
    assert answer.redirect_chain == [("/alerts/rules/", 302)]
    page = text_of(answer)
    assert "It is recorded; it holds from 31 October 2026 on." in page
    assert "At Stennet Point" in page
    assert "from day 2 on: the technician<br>from day 9 on: the manager" in page
    (rule,) = rules()
    assert (rule.kind, rule.site, rule.hour, rule.enabled) == (AlertKind.OVERDUE, hospital.stennet, 6, True)
    assert rule.steps == (Step(2, Role.TECHNICIAN), Step(9, Role.MANAGER))


def test_at_once_at_every_site_and_on_the_day(odile: Client) -> None:
    sent = {**GOOD, "kind": str(AlertKind.OPENED), "days:1": "", "days:2": "", "role:2": "", "how": "at_once"}
    assert odile.post(NEW, sent).status_code == 302
    (rule,) = rules()
    assert (rule.site, rule.at_once, rule.hour, rule.steps) == (None, True, None, (Step(0, Role.TECHNICIAN),))


def test_sent_twice_it_is_one_rule(odile: Client) -> None:
    for _ in range(2):
        assert odile.post(NEW, GOOD).status_code == 302
    assert len(rules()) == 1


def test_the_same_key_with_other_words_is_refused_once(odile: Client) -> None:
    odile.post(NEW, GOOD)
    page = text_of(odile.post(NEW, {**GOOD, "days:1": "4"}), 400)
    assert "This form was sent before, with other words." in page
    assert odile.post(NEW, form_of(page)).status_code == 302
    assert len(rules()) == 2


WRONG = [
    ({"days:1": "", "role:1": "", "days:2": "", "role:2": ""}, "f-role-1", "tells nobody"),
    ({"role:1": ""}, "f-role-1", "Say who is told."),
    ({"role:1": "auditor"}, "f-role-1", "Choose one of these."),
    ({"days:2": ""}, "f-days-2", "Say after or before how many days."),
    ({"days:1": "soon"}, "f-days-1", "Say a whole number of days."),
    ({"days:1": "-2"}, "f-days-1", "Say a whole number of days."),
    ({"days:1": "9" * 19}, "f-days-1", "A number of more than 18 digits is not kept."),
    ({"days:1": "1" * 5_000}, "f-days-1", "At most 2,000 letters are kept."),
    ({"days:2": "366"}, "f-days-2", "a whole number from 1 to 365, not 366."),
    ({"days:1": "0"}, "f-days-1", "a whole number from 1 to 365, not 0."),
    ({"days:2": "2", "role:2": "technician"}, "f-role-2", "The same role stands twice"),
    ({"kind": ""}, "f-kind", "Say what the rule tells of."),
    ({"kind": "goats"}, "f-kind", "Choose one of these."),
    ({"site": ""}, "f-site", "Say where the rule holds."),
    ({"site": "99999"}, "f-site", "Choose one of these."),
    ({"how": "24"}, "f-how", "Choose one of these."),
    ({"from_on": ""}, "f-from_on", "Say from which day on."),
    ({"from_on": "soon"}, "f-from_on", "Say the day as 2026-10-31."),
    ({"from_on": "2026-10-30"}, "f-from_on", "2026-10-30 has passed"),
]


@pytest.mark.parametrize(("changed", "beside", "says"), WRONG)
def test_what_will_not_do_stands_beside_its_field_and_nothing_is_lost(
    odile: Client, changed: dict[str, str], beside: str, says: str
) -> None:
    size, sent = head().size, {**GOOD, **changed}
    page = text_of(odile.post(NEW, sent), 400)
    said = re.search(rf'<span class="wrong" role="alert" id="{beside}-wrong">([^<]*)</span>', page)
    assert said is not None
    assert says in said.group(1)
    assert "Nothing is recorded yet, and everything that you typed is still here." in page
    kept = {name: "" if value in {"auditor", "goats", "99999", "24"} else value for name, value in sent.items()}
    assert kept.items() <= form_of(page).items()
    assert head().size == size


def test_the_same_rule_twice_is_refused_beside_its_site(hospital: Hospital, odile: Client) -> None:
    odile.post(NEW, GOOD)
    page = text_of(odile.post(NEW, {**GOOD, "key": "k-2", "site": str(hospital.stennet)}), 400)
    assert 'id="f-site-wrong">There is such a rule at every site already' in page


def test_who_is_of_one_site_makes_none_for_every_site(hospital: Hospital) -> None:
    client = signed_in(a_person("Saskia Holm", Role.MANAGER, hospital.alderwick))
    page = text_of(client.post(NEW, GOOD), 400)
    assert 'id="f-site-wrong">You are no member of every site; make the rule for one of yours.' in page
    assert "Stennet Point" not in page
    assert client.post(NEW, {**GOOD, "site": str(hospital.alderwick)}).status_code == 302


def test_while_the_record_is_busy_everything_stays(odile: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(**_: Any) -> None:
        raise RecordBusy

    monkeypatch.setattr("dashboards.views.alert_rules.make_rule", busy)
    page = text_of(odile.post(NEW, GOOD), 503)
    assert "The record is busy; try again in 5 seconds. Everything that you typed is still here." in page
    assert GOOD.items() <= form_of(page).items()


# A rule that is there


def test_a_rule_is_shown_as_it_stands_and_changed(odile: Client) -> None:
    rule = a_rule()
    address = f"/alerts/rules/{rule}/"
    sent = form_of(text_of(odile.get(address)))
    assert (sent["days:1"], sent["role:1"], sent["days:2"], sent["role:2"]) == ("1", "technician", "7", "scheduler")
    assert (sent["days:3"], sent["role:3"], sent["how"], sent["enabled"]) == ("", "", "7", "yes")
    assert odile.post(address, {**sent, "days:2": "5", "days:4": "30", "role:4": "manager"}).status_code == 302
    steps = (Step(1, Role.TECHNICIAN), Step(5, Role.SCHEDULER), Step(30, Role.MANAGER))
    assert [(each.rule, each.steps) for each in rules()] == [(rule, steps)]


def test_both_pages_say_alike_who_is_told(odile: Client) -> None:
    for address in ("/alerts/rules/", NEW):
        assert html.escape(WHOM) in text_of(odile.get(address))


def test_of_two_who_change_a_rule_the_second_is_told_of_the_first_and_loses_nothing(odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    first, second = (form_of(text_of(odile.get(address))) for _ in range(2))
    assert odile.post(address, {**first, "days:2": "5"}).status_code == 302
    mine = {**second, "days:1": "3", "enabled": "no"}
    page = text_of(odile.post(address, mine), 409)
    assert "Somebody changed this rule since you looked at it." in page
    assert "From 31 October 2026 on: from day 1 on: the technician; from day 5 on: the scheduler." in page
    assert {**mine, "seen": str(head().size)} == form_of(page)
    assert [each.days for each in rules()] == [(1, 5)]
    assert odile.post(address, form_of(page)).status_code == 302
    assert [(each.days, each.enabled) for each in rules()] == [((3, 7), False)]


@pytest.mark.parametrize("seen", [None, "", "goats", "9" * 400])
def test_a_form_that_does_not_say_what_it_was_read_from_overwrites_nothing(odile: Client, seen: str | None) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    sent = {**form_of(text_of(odile.get(address))), "days:1": "3"}
    said = {"seen": seen} if seen is not None else {}
    page = text_of(odile.post(address, {name: sent[name] for name in sent if name != "seen"} | said), 409)
    assert [each.days for each in rules()] == [(1, 7)]
    assert odile.post(address, form_of(page)).status_code == 302
    assert [each.days for each in rules()] == [(3, 7)]


def test_a_change_that_is_sent_twice_is_one_entry(odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    sent, size = {**form_of(text_of(odile.get(address))), "days:1": "3"}, head().size
    for _ in range(2):
        assert odile.post(address, sent).status_code == 302
    assert head().size == size + 1


def test_with_nothing_changed_nothing_is_recorded(odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    sent, size = form_of(text_of(odile.get(address))), head().size
    page = text_of(odile.post(address, sent), 400)
    assert "The rule says just that on 2026-10-31 already; there is nothing to change." in page
    assert sent == form_of(page)
    assert head().size == size


def test_a_rule_is_switched_off_and_keeps_its_steps(odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    page = text_of(odile.post(address, {**form_of(text_of(odile.get(address))), "enabled": "no"}, follow=True))
    assert "Switched off." in page
    assert "Nobody is told of anything" in page
    assert [each.enabled for each in rules()] == [False]
    assert form_of(text_of(odile.get(address)))["enabled"] == "no"


def test_a_change_of_a_later_day_is_told_until_it_comes(odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    sent = {**form_of(text_of(odile.get(address))), "days:1": "3", "from_on": LATER.isoformat()}
    page = text_of(odile.post(address, sent, follow=True))
    later = "From 3 November 2026 on: from day 3 on: the technician; from day 7 on: the scheduler."
    assert "from day 1 on: the technician<br>" in page
    assert later in page
    assert f"Something later is recorded already and stays: {later}" in text_of(odile.get(address))


def test_a_rule_that_begins_later_is_listed_and_can_be_changed(odile: Client) -> None:
    odile.post(NEW, {**GOOD, "from_on": LATER.isoformat()})
    assert rules() == []
    page = text_of(odile.get("/alerts/rules/"))
    assert "only from 3 November 2026 on" in page
    (rule,) = rules(LATER)
    address = f"/alerts/rules/{rule.rule}/"
    sent = form_of(text_of(odile.get(address)))
    assert sent["from_on"] == LATER.isoformat()
    assert odile.post(address, {**sent, "enabled": "no"}).status_code == 302
    assert [each.enabled for each in rules(LATER)] == [False]


def test_what_will_not_do_of_a_change_is_kept_too(odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    sent = {**form_of(text_of(odile.get(address))), "days:1": "400", "days:3": "8", "enabled": "no"}
    page = text_of(odile.post(address, sent), 400)
    assert 'id="f-days-1-wrong"' in page
    assert 'id="f-role-3-wrong"' in page
    assert sent.items() <= form_of(page).items()
    assert [each.enabled for each in rules()] == [True]


def test_a_change_that_makes_it_another_rule_is_refused(odile: Client) -> None:
    a_rule()
    address = f"/alerts/rules/{a_rule(hour=6)}/"
    page = text_of(odile.post(address, {**form_of(text_of(odile.get(address))), "how": "7"}), 400)
    assert "There is such a rule at every site already" in page


def test_what_was_typed_before_the_session_ended_is_still_there(hospital: Hospital, odile: Client) -> None:
    address = f"/alerts/rules/{a_rule()}/"
    client = Client()
    username = f"person{hospital.odile.person}"
    sign_in = {"login": username, "password": "a-long-password-1"}
    client.post("/accounts/login/?next=/", sign_in)
    Session.objects.all().delete()
    answer = client.post(address, {**GOOD, "days:1": "12", "enabled": "no"})
    page = text_of(client.post(answer["Location"], sign_in, follow=True))
    assert SAID in page
    assert (form_of(page)["days:1"], form_of(page)["key"], form_of(page)["enabled"]) == ("12", "k-1", "no")


def test_a_rule_of_another_site_or_none_at_all_is_not_there(hospital: Hospital) -> None:
    client = signed_in(a_person("Saskia Holm", Role.MANAGER, hospital.alderwick))
    assert client.get(f"/alerts/rules/{a_rule(site=hospital.stennet)}/").status_code == 404
    assert client.get("/alerts/rules/99999/").status_code == 404
