"""What a token for a period is told of faults, holds and alerts: what lies in its days, and nothing else."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM, Actor
from pmcore.models import Account
from pmcore.services.acknowledgements import acknowledge
from pmcore.services.alert_rules import make_default_rules
from pmcore.services.holds import place_hold
from pmcore.services.tokens import create_token
from tests.alert_cast import CLOSES, FIRST, a_ward
from tests.api.asking import NOW, Asker, by_token
from tests.bench_cast import Bench, a_bench, moment
from tests.cast import AT
from tests.dashboards.signed_in import set_clock
from tests.fault_cast import a_line, finding_of, found, hold_of, release_of, released, report_of, reported
from tests.history import day
from tests.story import moment as at_hour

pytestmark = pytest.mark.django_db

OUTSIDE = "urn:pmcore:problem:outside-your-period"
ONE = dt.timedelta(days=1)
ENDS = {"fault-reports/": "seen", "findings/": "discovered", "holds/": "stood", "releases/": "signed"}
KEYS = {"fault-reports/": "fault_report", "findings/": "finding", "holds/": "hold", "releases/": "release"}


def narrowed(actor: Actor, first: dt.date, last: dt.date) -> Asker:
    return by_token(actor, read_only=True, from_on=first, to_on=last)


def within(path: str, first: str, last: str) -> dict[str, str]:
    return {f"{ENDS[path]}_from": first, f"{ENDS[path]}_to": last}


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr("pmcore.clock.now", lambda: NOW)
    return a_bench()


@pytest.fixture
def ids(bench: Bench) -> dict[str, list[int]]:
    """What went wrong in May, and again in June; both were put right on the tenth of the next month."""
    made: dict[str, list[int]] = {path: [] for path in ENDS}
    for month in (5, 6):
        report = report_of(reported(bench, seen_at=moment(month, 1)))
        receipt = found(bench, a_line(fault_report=report), discovered_on=day(f"2026-0{month}-01"))
        signed = released(bench, hold_of(receipt), signed_at=moment(month + 1, 10), at=NOW)
        things = (report, finding_of(receipt), hold_of(receipt), release_of(signed))
        for path, thing in zip(ENDS, things, strict=True):
            made[path].append(thing)
    return made


@pytest.mark.parametrize("path", ENDS)
def test_what_lies_within_is_told_and_nothing_else(bench: Bench, ids: dict[str, list[int]], path: str) -> None:
    june = narrowed(bench.odile, day("2026-06-01"), day("2026-06-30"))
    told = june.get(path, **within(path, "2026-06-01", "2026-06-30"))
    first, second = ids[path]
    # The hold of May stands in June up to its release; that of June is released in July.
    expected = {"holds/": [first, second], "releases/": [first]}.get(path, [second])
    assert [each[KEYS[path]] for each in told["results"]] == expected
    assert told["as_of"] == "2026-06-30"


@pytest.mark.parametrize("path", ENDS)
@pytest.mark.parametrize(
    ("first", "last"), [("2026-05-31", "2026-06-30"), ("2026-06-01", "2026-07-01"), ("2026-05-01", "2026-05-31")]
)
def test_days_outside_are_refused_by_name(bench: Bench, path: str, first: str, last: str) -> None:
    june = narrowed(bench.odile, day("2026-06-01"), day("2026-06-30"))
    assert june.get(path, 403, **within(path, first, last))["type"] == OUTSIDE


@pytest.mark.parametrize("path", ENDS)
def test_one_end_alone_is_refused_by_name(bench: Bench, path: str) -> None:
    june = narrowed(bench.odile, day("2026-06-01"), day("2026-06-30"))
    said = june.get(path, 403, **{f"{ENDS[path]}_from": "2026-06-01"})
    assert (said["type"], f"without {ENDS[path]}_to" in said["detail"]) == (OUTSIDE, True)


def test_naming_one_by_its_id_opens_no_other_day(bench: Bench, ids: dict[str, list[int]]) -> None:
    june = narrowed(bench.odile, day("2026-06-01"), day("2026-06-30"))
    first, second = ids["findings/"]
    days = within("findings/", "2026-06-01", "2026-06-30")
    assert june.get("findings/", finding=first, **days)["results"] == []
    assert [each["finding"] for each in june.get("findings/", finding=second, **days)["results"]] == [second]
    assert june.get("findings/", 403, finding=second)["type"] == OUTSIDE


# Holds: those that stand on the days


@pytest.fixture
def hold(bench: Bench) -> int:
    """From the first of June; the release of the tenth lifts it."""
    receipt = place_hold(
        device=bench.device, reason="safety_notice", from_on=day("2026-06-01"), actor=bench.odile, at=AT
    )
    released(bench, hold_of(receipt))
    return hold_of(receipt)


@pytest.mark.parametrize(
    ("first", "last", "told"),
    [
        ("2026-05-01", "2026-05-31", False),
        ("2026-05-01", "2026-06-01", True),
        ("2026-06-03", "2026-06-04", True),
        ("2026-06-10", "2026-06-30", True),
        ("2026-06-11", "2026-06-30", False),
    ],
)
def test_a_hold_is_told_where_it_stood_on_one_of_the_days(
    bench: Bench, hold: int, first: str, last: str, told: bool
) -> None:
    """The day of the release is its last: one that is lifted on its first day is told too."""
    asker = narrowed(bench.odile, day(first), day(last))
    listed = asker.get("holds/", stood_from=first, stood_to=last)["results"]
    assert [each["hold"] for each in listed] == [hold] * told


def test_its_first_day_is_told_and_a_release_after_the_period_is_not(bench: Bench, hold: int) -> None:
    asker = narrowed(bench.odile, day("2026-06-03"), day("2026-06-04"))
    (listed,) = asker.get("holds/", stood_from="2026-06-03", stood_to="2026-06-04")["results"]
    assert (listed["placed_on"], listed["released_on"], listed["release"]) == ("2026-06-01", None, None)


def test_a_whole_token_asks_by_the_day_of_placing_too(bench: Bench, hold: int) -> None:
    asker = by_token(bench.odile)
    assert [each["hold"] for each in asker.get("holds/", placed_from="2026-06-01")["results"]] == [hold]
    assert asker.get("holds/", placed_from="2026-06-02")["results"] == []
    assert asker.get("holds/", 400, stood_from="yesterday")["errors"].keys() == {"stood_from"}


# Alerts: those that one was told of on the days


def test_alerts_are_told_by_the_day_of_telling(monkeypatch: pytest.MonkeyPatch) -> None:
    ward, late = a_ward(), CLOSES + ONE
    make_default_rules(from_on=FIRST, actor=SYSTEM, at=at_hour(FIRST, 0))
    ward.sweep(late)
    set_clock(monkeypatch, at_hour(late + 2 * ONE, 8))
    asker = narrowed(ward.work.ruan, FIRST, late)

    def listed(first: dt.date, last: dt.date, status: int = 200) -> Any:
        return asker.get("alerts/", status, told_from=first.isoformat(), told_to=last.isoformat())

    assert listed(FIRST, late - ONE)["results"] == []
    rows = listed(late, late)["results"]
    assert len(rows) == 3
    assert {row["told_on"] for row in rows} == {late.isoformat()}
    assert listed(late, late + ONE, 403)["type"] == OUTSIDE
    assert asker.get("alerts/", 403)["type"] == OUTSIDE
    acknowledge(alert=rows[0]["alert"], note=None, actor=ward.work.ruan, at=at_hour(late + 2 * ONE, 8), request=None)
    assert all(row["acknowledged"] == [] for row in listed(late, late)["results"]), "it was said after its days"
    account = Account.objects.get(person=ward.work.ruan.person)
    unbounded = Asker(create_token(username=account.username, label="whole", actor=SYSTEM, at=NOW).raw)
    whole = unbounded.get("alerts/", told_to=(late + 2 * ONE).isoformat())["results"]
    assert sum(len(row["acknowledged"]) for row in whole) == 1
