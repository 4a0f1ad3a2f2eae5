"""The interface's figure is the figure: over many questions it says what the query says, number for number."""

import datetime as dt
import random
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded

from pmcore.engines.compliance import Share, Tally
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Counted, Grouping, PlanBasis, RiskClass, Role
from pmcore.models import Area, DeviceClass
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, compliance
from pmcore.queries.figure_changes import figure_changes
from pmcore.queries.head import head
from tests.api.asking import Asker, by_token
from tests.cast import a_person
from tests.random_deeds import DEEDS, VERBS
from tests.random_worlds import a_base, a_world, world_seeds
from tests.story import a_story, day

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 10, 31)


def plain(value: Any) -> Any:
    """Days, words and records as JSON has them; written apart from the interface."""
    match value:
        case Share():
            percent = value.percent
            written = "no data" if percent is None else f"{percent} %"
            said = None if percent is None else f"{percent:.1f}"
            return {
                "numerator": value.numerator,
                "denominator": value.denominator,
                "percent": said,
                "written": written,
            }
        case dt.datetime():
            return value.isoformat().replace("+00:00", "Z")
        case dt.date():
            return value.isoformat()
        case list() | tuple():
            return [plain(each) for each in value]
        case None | bool() | int():
            return value
        case str():
            return str(value)
    return {name: plain(getattr(value, name)) for name in type(value).__dataclass_fields__}


def figure(tally: Tally) -> dict[str, Any]:
    due = tally.met + tally.met_late + tally.reason_recorded + tally.no_reason
    return {**{str(word): getattr(tally, word) for word in Counted}, "due": due, "share": plain(Share(tally.met, due))}


def expected(report: ComplianceReport) -> dict[str, Any]:
    return {
        **figure(report.tally),
        "as_of": report.as_of.isoformat(),
        "known": report.known,
        "period": {"starts_on": plain(report.asked.starts_on), "ends_on": plain(report.asked.ends_on)},
        "devices_met": plain(report.devices),
        "coverage": plain(report.coverage),
        "census": plain(report.census),
        "groups": [{**figure(group.tally), "key": group.key, "label": group.label} for group in report.groups],
        "lists": plain(report.lists),
        "arrivals": plain(report.arrivals),
        "doubts": plain(report.doubts),
        "device_labels": [plain(report.labels[device]) for device in sorted(report.labels)],
    }


def in_the_address(asked: ComplianceFilter) -> dict[str, Any]:
    lists = {
        "site": asked.sites,
        "area": asked.areas,
        "device_class": asked.device_classes,
        "risk_class": asked.risk_classes,
        "basis": asked.bases,
    }
    days = {"from": asked.starts_on.isoformat(), "to": asked.ends_on.isoformat()}
    return days | {name: list(values) for name, values in lists.items() if values is not None}


def check_same(asker: Asker, actor: Actor, asked: ComplianceFilter, **options: Any) -> ComplianceReport:
    report = compliance(asked, today=TODAY, actor=actor, **options)
    when = {name: str(value) for name, value in options.items() if value is not None}
    assert asker.get("compliance/", **in_the_address(asked), **when) == expected(report)
    return report


class Chance:
    """Draws questions that a world can answer."""

    def __init__(self, seed: int, sites: list[int], areas: list[int], classes: list[int], sizes: list[int]) -> None:
        self.random = random.Random(seed)
        self.sites, self.areas, self.classes, self.sizes = sites, areas, classes, sizes

    def some(self, values: Any) -> frozenset[Any] | None:
        drawn = self.random.sample(sorted(values), self.random.randint(1, len(values)))
        return frozenset(drawn) if self.random.random() < 0.25 else None

    def question(self) -> tuple[ComplianceFilter, dict[str, Any]]:
        starts_on = dt.date(2024, 1, 1) + dt.timedelta(days=self.random.randint(0, 900))
        ends_on = starts_on + dt.timedelta(days=self.random.choice([0, 30, 365, 365, 1200, 1200]))
        asked = ComplianceFilter(
            starts_on, ends_on, self.some(self.sites), self.some(self.areas), self.some(self.classes),
            self.some(RiskClass), self.some(PlanBasis),
        )  # fmt: skip
        as_of = dt.date(2026, 1, 1) + dt.timedelta(days=self.random.randint(-500, 250))
        known = self.random.choice(self.sizes)
        return asked, {"as_of": as_of, "known": known, "group_by": self.random.choice([None, *Grouping])}


@pytest.mark.parametrize("seed", range(4))
def test_interface_and_query_agree_over_random_questions(seed):
    base = a_base()
    world = a_world(base, random_world(seed), DEEDS)
    auditor = a_person("Ines Kaldervik", Role.AUDITOR, *base.sites)
    asker = by_token(auditor)
    sizes = [head().size, *(known for known, _ in world.sizes)]
    areas = list(Area.objects.values_list("id", flat=True))
    classes = list(DeviceClass.objects.values_list("id", flat=True))
    chance = Chance(seed, list(base.sites), areas, classes, sizes)
    counted = compared = 0
    for _ in range(60):
        asked, options = chance.question()
        try:
            report = check_same(asker, auditor, asked, **options)
        except ValueError as refused:
            assert type(refused).__name__ == "AsOfAhead"
            when = {name: str(value) for name, value in options.items() if value is not None}
            assert asker.get("compliance/", status=400, **in_the_address(asked), **when)["errors"].keys() == {"as_of"}
            continue
        counted += report.tally.due
        compared += 1
    assert counted > 0
    assert compared > 20


def random_world(seed: int) -> Any:
    """The one of some in which most falls due."""
    drawn: list[Any] = []

    @seeded(seed)
    @settings(max_examples=20, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(world_seeds(VERBS))
    def draw(world: Any) -> None:
        drawn.append(world)

    draw()
    return max(drawn, key=lambda world: len(world.devices) * sum(12 / plan.every for plan in world.plans))


def test_a_month_and_its_days_are_the_same_question():
    story = a_story()
    story.inspect(day(7, 10))
    asker = by_token(story.manager)
    by_month = asker.get("compliance/", period="2026-07")
    assert by_month == asker.get("compliance/", **{"from": "2026-07-01", "to": "2026-07-31"})
    assert (by_month["due"], by_month["met"], by_month["share"]["percent"]) == (1, 1, "100.0")


def test_values_are_repeated_or_put_together_with_commas():
    story = a_story()
    asker = by_token(story.manager)
    one, other = (str(site) for site in story.sites)
    repeated = asker.get("compliance/", period="2026-07", site=[one, other], basis=["maker", "regulation"])
    together = asker.get("compliance/", period="2026-07", site=f"{one},{other}", basis="maker,regulation")
    assert repeated == together


def test_what_nobody_was_asked_has_no_percentage():
    story = a_story()
    share = by_token(story.manager).get("compliance/", period="2026-02")["share"]
    assert share == {"numerator": 0, "denominator": 0, "percent": None, "written": "no data"}


def test_the_same_day_and_size_make_the_same_figure_again():
    story = a_story()
    asker = by_token(story.manager)
    asked = {"period": "2026-07", "as_of": "2026-08-05"}
    before = asker.get("compliance/", **asked)
    story.inspect(day(7, 10), recorded=day(8, 9))
    assert asker.get("compliance/", **asked)["met"] == 1
    assert asker.get("compliance/", **asked, known=before["known"]) == before


def test_due_is_its_four_parts():
    story = a_story()
    story.inspect(day(7, 16), recorded=day(8, 10))
    said = by_token(story.manager).get("compliance/", period="2026-07", group_by="site")
    for each in (said, *said["groups"]):
        assert each["due"] == each["met"] + each["met_late"] + each["reason_recorded"] + each["no_reason"] == 1
    assert Decimal(said["share"]["percent"]) == 0


def test_the_entries_that_changed_the_figure():
    story = a_story()
    size = head().size
    entered = story.inspect(day(7, 10))
    actor = story.manager
    said = by_token(actor).get("compliance/changes/", period="2026-07", since=size, known=entered.seq)
    asked = ComplianceFilter(dt.date(2026, 7, 1), dt.date(2026, 7, 31))
    changes = figure_changes(asked, as_of=TODAY, known=entered.seq, before=size, today=TODAY, actor=actor)
    assert len(changes) == 1
    assert said == {"since": size, "as_of": "2026-10-31", "known": entered.seq, "changes": plain(changes)}
    assert (said["changes"][0]["was"], said["changes"][0]["becomes"]) == ("no_reason", "met")


def test_entries_are_looked_for_on_so_many_devices_as_asked():
    story = a_story()
    size = head().size
    story.inspect(day(7, 10))
    (change,) = by_token(story.manager).get("compliance/changes/", period="2026-07", since=size, explain=0)["changes"]
    assert (change["becomes"], change["entries"]) == ("met", None)
