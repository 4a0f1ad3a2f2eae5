"""The devices of the demonstration: what each is, where it stands, and on which days it comes due."""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from pmcore.engines.due_dates import IntervalRule, Window, add_interval, occurrences, window_of
from pmcore.engines.due_generation import MONTHS_AHEAD
from pmcore.engines.vocabulary import Basis, Unit, WindowKind
from pmcore.services.demo.parameters import ClassPlan, ModelPlan, Parameters, RoundPlan
from pmcore.services.demo.streams import stream

_DUE_DAYS = (
    5,
    12,
)  # of the month: so far from its end, a window seldom leaves more time than interval and days after it

VisitKey = tuple[int, str, dt.date]
"""The number of a machine, the key of a plan and the due date: one due inspection."""


@dataclass(frozen=True, slots=True)
class Machine:
    """`core`: one of those that scenes are about; what a larger demonstration adds is not. `counts_from`: by plan, one
    interval before its first due date."""

    number: int
    device_class: ClassPlan
    model: ModelPlan
    site: str
    area: str
    technician: str
    serial: str
    tag: str
    core: bool
    counts_from: Mapping[str, dt.date]


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One due inspection that an anchored plan will call for."""

    machine: Machine
    plan: RoundPlan
    due_on: dt.date
    opens_on: dt.date
    closes_on: dt.date

    @property
    def key(self) -> VisitKey:
        return self.machine.number, self.plan.key, self.due_on


def rule_of(plan: RoundPlan, parameters: Parameters) -> IntervalRule:
    table = next(each for each in parameters.windows if each["every"] == plan.every)
    in_days = table["kind"] == WindowKind.DAYS
    window = Window.days(table["before"], table["after"]) if in_days else Window.calendar_month()
    return IntervalRule(plan.every, Unit.MONTH, Basis.FLOATING if plan.floating else Basis.ANCHORED, window)


def machines(parameters: Parameters, seed: int, devices: int | None = None) -> list[Machine]:
    """All devices in order of their numbers: as many as the parameters say, fewer in the same proportions, or more."""
    counts = {(each.key, site): n for each in parameters.classes for site, n in each.numbers.items()}
    wanted = parameters.devices if devices is None else devices
    core = counts if wanted >= parameters.devices else _shares(counts, wanted)
    quiet = parameters.scenes["no_access"]["site"]  # there the number of windows that close is planted
    beyond = max(0, wanted - parameters.devices)
    more = _shares({key: n for key, n in counts.items() if key[1] != quiet}, beyond)
    found: list[Machine] = []
    for numbers, is_core in ((core, True), (more, False)):
        for device_class in parameters.classes:
            for site in device_class.numbers:
                count = numbers.get((device_class.key, site), 0)
                found += _group(parameters, seed, device_class, site, count=count, before=len(found), core=is_core)
    return found


def _shares(counts: Mapping[tuple[str, str], int], wanted: int) -> dict[tuple[str, str], int]:
    """`wanted` in the proportions of the counts; the largest remainders are rounded up."""
    total = sum(counts.values())
    exact = {key: n * wanted / total for key, n in counts.items()}
    shares = {key: int(share) for key, share in exact.items()}
    rest = sorted(exact, key=lambda key: (shares[key] - exact[key], key))
    return shares | {key: shares[key] + 1 for key in rest[: wanted - sum(shares.values())]}


def _group(
    parameters: Parameters, seed: int, device_class: ClassPlan, site: str, *, count: int, before: int, core: bool
) -> Iterator[Machine]:
    """The devices of a class at a site. Their due months are dealt out evenly: how many windows close in a quarter does
    not hang on the seed, only whose they are."""
    draws = stream(seed, "fleet", device_class.key, site, core)
    place = next(each for each in parameters.sites if each.label == site)
    areas = [name for name, kind in place.areas if kind in device_class.areas] or [place.areas[0][0]]
    everywhere = [name for name, _ in place.areas]
    staff = parameters.technicians(site)
    models = _models(device_class, site, count, core=core)
    months = {plan.key: _months(plan, count) for plan in device_class.plans}
    for dealt in months.values():
        draws.shuffle(dealt)
    for place_in_group in range(count):
        number = before + place_in_group + 1
        area = areas[place_in_group % len(areas)]
        yield Machine(
            number=number,
            device_class=device_class,
            model=models[place_in_group],
            site=site,
            area=area,
            technician=staff[everywhere.index(area) % len(staff)].key,
            serial=f"{device_class.key[:2].upper()}{number:06d}",
            tag=f"Q{number:06d}",
            core=core,
            counts_from={
                plan.key: _before_first(plan, months[plan.key][place_in_group], draws.randint(*_DUE_DAYS), parameters)
                for plan in device_class.plans
            },
        )


def _models(device_class: ClassPlan, site: str, count: int, *, core: bool) -> list[ModelPlan]:
    """The model of each of so many devices of a class at a site."""
    last = device_class.models[-1] if core or device_class.more is None else device_class.more
    counted = [
        model
        for model in device_class.models
        for _ in range(round(model.numbers.get(site, 0) * count / device_class.numbers[site]))
    ]
    return [*counted, *[last] * count][:count]


def _months(plan: RoundPlan, count: int) -> list[int]:
    """Months of first due dates, from the second month of the history on."""
    dealt = plan.first_due or tuple((month - 1) % 12 + 1 for month in range(12, 12 + plan.every))
    return [dealt[at % len(dealt)] for at in range(count)]


def _before_first(plan: RoundPlan, month: int, day: int, parameters: Parameters) -> dt.date:
    begins = parameters.begins_on
    year = begins.year if month > begins.month else begins.year + 1
    return add_interval(dt.date(year, month, day), plan.every, Unit.MONTH, -1)


def windows_of(
    fleet: Iterable[Machine], parameters: Parameters, *, closing: tuple[dt.date, dt.date] | None = None
) -> Iterator[Occurrence]:
    """What anchored plans call for, in order of machines, plans and days; `closing`: only windows that close then."""
    first, last = closing or (dt.date.min, dt.date.max)
    until = add_interval(parameters.ends_on, MONTHS_AHEAD, Unit.MONTH)
    for machine in fleet:
        for plan in machine.device_class.plans:
            if plan.floating:
                continue
            rule, anchor = rule_of(plan, parameters), machine.counts_from[plan.key]
            start = anchor + dt.timedelta(days=1)
            for due_on in occurrences(rule, anchor, start, until):
                opens_on, closes_on = window_of(rule, due_on)
                if first <= closes_on <= last:
                    yield Occurrence(machine, plan, due_on, opens_on, closes_on)
