"""Fault reports, findings, holds and releases by the interface: each written once and read where its answer says."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Role
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from tests.api.asking import Asker, by_token
from tests.api.test_due_work import sent
from tests.bench_cast import Bench, a_bench
from tests.cast import AT, a_device, a_person
from tests.fault_cast import a_line, finding_of, found, hold_of, minor, released, report_of, reported

pytestmark = pytest.mark.django_db

PATHS = ("fault-reports/", "findings/", "holds/", "releases/")
STATEMENTS = {"fault-reports/": 17, "findings/": 14, "holds/": 17, "releases/": 16}
LINE: dict[str, Any] = {
    "subsystem": "drive", "mode": "It sinks.", "cause": "wear", "failure": "functional", "severity": "stops_use",
    "discovery": "reported_in_use",
}  # fmt: skip


@pytest.fixture(autouse=True)
def on_that_day(monkeypatch):
    monkeypatch.setattr("pmcore.clock.now", lambda: AT)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


@pytest.fixture
def ruan(bench: Bench) -> Asker:
    return by_token(bench.ruan)


def written(asker: Asker, path: str, body: dict[str, Any], key: str = "k-1", status: int = 201) -> dict[str, Any]:
    """What is read at the address that the answer gives."""
    answer = sent(asker, path, body, f"{key} {path}")
    assert answer.status_code == status, answer.content
    (read,) = asker.get(answer["Location"].partition("/api/v1/")[2])["results"]
    assert read["entry"] == answer.json()["entry"]
    return read


def test_from_the_report_to_the_release(bench, ruan):
    lead = by_token(a_person("Merete Sondvik", Role.CLINICAL_LEAD, bench.alderwick))
    seen = {"device": bench.device, "seen_at": "2026-06-01T09:00:00+01:00", "account": "It sank.", "could_harm": True}
    report = written(lead, "fault-reports/", seen)
    assert (report["seen_on"], report["account"], report["findings"]) == ("2026-06-01", "It sank.", [])
    line = {name: value for name, value in LINE.items() if name != "discovery"}
    body = {
        "device": bench.device,
        "discovered_on": "2026-06-02",
        "finding": line | {"fault_report": report["fault_report"]},
    }
    finding = written(ruan, "findings/", body)
    assert (finding["discovery"], finding["device"]["tag"]) == ("reported_in_use", "T-0001")
    (report,) = ruan.get("fault-reports/", open="no")["results"]
    assert report["findings"] == [finding["finding"]]
    holds = ruan.get("holds/", in_force="yes")["results"]
    assert [(hold["reason"], hold["finding"]) for hold in holds] == [
        ("fault_reported", None),
        ("finding", finding["finding"]),
    ]
    assert ruan.get("devices/", held="yes")["results"] != []
    signed = {"device": bench.device, "holds": [hold["hold"] for hold in holds], "note": "Motor changed."}
    release = written(ruan, "releases/", signed)
    assert (release["holds"], release["signed_by_name"]) == (signed["holds"], "Ruan Tesk")
    assert ruan.get("holds/", in_force="yes")["results"] == []
    assert [hold["release"] for hold in ruan.get("holds/")["results"]] == [release["release"]] * 2
    assert ruan.get("devices/", held="yes")["results"] == []


def test_a_hold_is_placed(bench, ruan):
    hold = written(ruan, "holds/", {"device": bench.device, "reason": "safety_notice", "from_on": "2026-06-01"})
    assert (hold["reason"], hold["placed_on"], hold["released_on"]) == ("safety_notice", "2026-06-01", None)


def test_a_retry_writes_nothing_more(bench, ruan):
    body = {"device": bench.device, "discovered_on": "2026-06-02", "finding": LINE}
    first = written(ruan, "findings/", body)
    size = head().size
    assert written(ruan, "findings/", body, status=200) == first
    assert head().size == size


def test_an_inspection_brings_its_findings(bench, ruan):
    readings = [
        {"step": "brakes", "outcome": "failed"},
        {"step": "raising", "outcome": "passed", "energy_source": "mains"},
        {"step": "leakage", "outcome": "passed", "as_found": "85", "unit": "µA", "instrument": bench.meter},
    ]
    body = {
        "due_inspection": bench.due, "version": bench.version, "started_at": "2026-06-01T09:00:00+01:00",
        "ended_at": "2026-06-01T09:30:00+01:00", "readings": readings,
        "findings": [{**LINE, "step": "brakes", "subsystem": "brakes_and_mobility", "discovery": None}],
    }  # fmt: skip
    assert sent(ruan, "inspections/", body).status_code == 201
    (finding,) = ruan.get("findings/")["results"]
    assert (finding["step"], finding["discovery"]) == ("brakes", "found_at_inspection")
    (hold,) = ruan.get("holds/")["results"]
    assert (hold["reason"], hold["finding"]) == ("inspection_failed", finding["finding"])
    body["findings"][0]["cause"] = "bad luck"
    assert "findings.0.cause" in sent(ruan, "inspections/", body, "k-2").json()["errors"]


@pytest.mark.parametrize(
    ("path", "body", "named"),
    [
        ("findings/", {"discovered_on": "2026-06-02", "finding": LINE | {"cause": "bad luck"}}, "bad-parameters"),
        (
            "findings/",
            {"discovered_on": "2026-06-02", "finding": LINE | {"cause": "use_error"}},
            "training-missing",
        ),
        ("holds/", {"from_on": "2026-06-01", "reason": "mood"}, "bad-parameters"),
        ("holds/", {"from_on": "2027-06-01", "reason": "other"}, "in-the-future"),
        ("fault-reports/", {"seen_at": "2026-06-01T09:00:00Z", "account": " "}, "words-missing"),
        ("releases/", {"holds": []}, "nothing-to-lift"),
        ("releases/", {"holds": [10**9]}, "unknown-reference"),
    ],
)
def test_what_is_wrong_is_named(bench, ruan, path, body, named):
    size = head().size
    answer = sent(ruan, path, {"device": bench.device} | body)
    status = 400 if named == "bad-parameters" else 422
    assert (answer.status_code, answer.json()["type"]) == (status, f"urn:pmcore:problem:{named}")
    assert head().size == size


def test_filters_name_what_is_wanted(bench, ruan):
    first, second = finding_of(found(bench)), finding_of(found(bench, minor(discovery="safety_notice")))

    def listed(**asked) -> list[int]:
        return [each["finding"] for each in ruan.get("findings/", **asked)["results"]]

    assert listed() == [first, second]
    assert listed(severity="minor") == [second]
    assert listed(subsystem="controls") == []
    assert listed(discovered_to="2026-05-31") == []
    assert listed(discovered_from="2026-06-01", device=bench.device, finding=first) == [first]
    assert ruan.get("findings/", 403, site=bench.stennet)["errors"]


def test_another_sites_devices_are_not_told_of(bench):
    everything(bench)
    stranger = by_token(a_person("Per Aldous", Role.TECHNICIAN, bench.stennet))
    assert [stranger.get(path)["results"] for path in PATHS] == [[], [], [], []]


def test_a_provider_reads_what_they_found_themselves(bench):
    provider = a_person("Ylva Brontesk", Role.PROVIDER, bench.alderwick)
    found(bench)
    asking = {"person": provider.person or 0, "on": AT.date(), "half": None, "actor": bench.odile, "at": AT}
    assign_inspections(due_inspections=[bench.due], **asking)
    own = finding_of(found(bench, actor=provider))
    assert [each["finding"] for each in by_token(provider).get("findings/")["results"]] == [own]


def test_what_was_known_is_told_as_it_was_known(bench, ruan):
    everything(bench)
    size = head().size
    before = [ruan.get(path, known=size)["results"] for path in PATHS]
    everything(bench)
    assert [ruan.get(path, known=size)["results"] for path in PATHS] == before
    assert [len(ruan.get(path)["results"]) for path in PATHS] == [2, 2, 2, 2]
    assert ruan.get("holds/", as_of="2026-06-09", in_force="yes")["results"] != []


def everything(bench: Bench, **options: Any) -> None:
    """A report, a finding that answers it, its hold, and the release that lifts it."""
    report = report_of(reported(bench, **options))
    receipt = found(bench, a_line(fault_report=report), **options)
    released(bench, hold_of(receipt), **options)


@pytest.mark.parametrize("count", [3, 30])
def test_lists_take_a_fixed_number_of_statements(bench, count):
    for number in range(count):
        device = a_device(bench.odile, bench.model, f"N-{number}", bench.theatre, tag=f"N-{number}")
        everything(bench, device=device)
    asker = by_token(bench.ruan)
    taken = {}
    for path in PATHS:
        with CaptureQueriesContext(connection) as captured:
            asker.get(path, limit=500)
        taken[path] = len(captured)
    assert taken == STATEMENTS


def test_pages_follow_one_another(bench, ruan):
    for _ in range(5):
        everything(bench)
    for path, key in zip(PATHS, ("fault_report", "finding", "hold", "release"), strict=True):
        keys = [each[key] for page in ruan.follow(path, limit=2) for each in page["results"]]
        assert len(keys) == 5
        assert keys == sorted(set(keys))
