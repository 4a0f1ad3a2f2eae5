"""Who may do what, tried out: every use case by every role."""

from pathlib import Path

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.services.permissions import MAY
from pmcore.services.refusals import NotAllowed
from tests.cast import a_hospital, check_refused
from tests.deeds import DEEDS, do

pytestmark = pytest.mark.django_db

OFFICE = {Role.ADMINISTRATOR, Role.SYSTEM}
MANAGED = {*OFFICE, Role.MANAGER}
AT_WORK = {*MANAGED, Role.SCHEDULER, Role.TECHNICIAN}

WHO = {
    **dict.fromkeys(["open a site", "describe a site", "open an area", "describe an area"], OFFICE),
    **dict.fromkeys(["set holidays", "redact"], OFFICE),
    **dict.fromkeys(["register a person", "give a role", "set a membership", "register a provider"], OFFICE),
    **dict.fromkeys(["register a class", "register a model", "register a revision"], MANAGED),
    **dict.fromkeys(["register a device", "correct a device"], MANAGED),
    **dict.fromkeys(["move a device", "set a tag", "store a device", "attach a file"], AT_WORK),
    **dict.fromkeys(["receive a device", "read a meter"], AT_WORK),
    "set whose it is": MANAGED,
    "record use": {*AT_WORK, Role.CLINICAL_LEAD},
}


@pytest.fixture(autouse=True)
def files_of_the_test(settings, tmp_path) -> None:
    settings.DATA = tmp_path


@pytest.mark.parametrize("deed", DEEDS)
def test_each_deed_is_done_by_its_roles_and_by_no_other(deed: str) -> None:
    hospital = a_hospital()
    both = frozenset({hospital.alderwick, hospital.stennet})
    for number, role in enumerate(Role):
        actor = Actor(hospital.ruan.person, role, both)
        if role in WHO[deed]:
            assert do(deed, hospital, actor, number).seq
        else:
            with check_refused(NotAllowed, f"may not {deed}"):
                do(deed, hospital, actor, number)


# These are tried where their sheets, plans and evidence are made.
ELSEWHERE = {
    "mark not located": "test_locating",
    "mark found again": "test_locating",
    "declare a device lost": "test_locating",
    "put out of the inventory": "test_departures",
    "return a device": "test_departures",
    "swap a device": "test_departures",
    "lend a device": "test_loans",
    "write a procedure": "test_procedures",
    "approve a procedure": "test_procedures",
    "make a plan": "test_plans",
    "change a setting": "test_figure_settings",
    "assess risk": "test_risk",
    "record an inspection": "test_inspections",
    "correct an inspection": "test_session_corrections",
    "report a fault": "test_fault_reports",
    "take back a fault report": "test_fault_reports",
    "make a finding": "test_findings",
    "reclassify a finding": "test_reclassified_findings",
    "take back a finding": "test_findings",
    "sign a release": "test_releases",
    "take back a release": "test_releases",
    "place a hold": "test_holds",
    "take back a hold": "test_holds",
    "give out an inspection": "test_assignments",
    "record an attempt": "test_reasons",
    "record a reason": "test_reasons",
    "export the history": "test_exports",
    "cancel an export": "test_exports",
    "verify the record": "test_exports",
    "give an address": "test_account_addresses",
    "switch an account": "test_account_states",
    "give a password": "test_account_states",
    "make a token": "test_tokens",
    "take back a token": "test_tokens",
    "correct a reason": "test_reasons",
    "make an alert rule": "test_alert_rules",
    "acknowledge an alert": "test_acknowledgements",
    "retry a job": "test_retry_job",
}


def test_no_use_case_goes_untried() -> None:
    assert set(DEEDS) == set(WHO)
    assert {*DEEDS, *ELSEWHERE} == set(MAY)
    here = Path(__file__).parent
    assert all("NotAllowed" in (here / f"{name}.py").read_text() for name in ELSEWHERE.values())
