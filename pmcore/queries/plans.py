"""What the inspection plans say on a day."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from pmcore.engines.due_dates import IntervalRule, Window
from pmcore.engines.vocabulary import Basis, PlanBasis, Unit, UsageUnit, WindowKind
from pmcore.models import PlanTerms
from pmcore.queries.figure_settings import WindowTable, window_of_columns, window_table_on


@dataclass(frozen=True, slots=True)
class UsageLimit:
    """After so many hours or cycles it is due, if that comes first."""

    limit: Decimal
    unit: UsageUnit


@dataclass(frozen=True, slots=True)
class PlanTermsRecord:
    """A plan's terms: `terms` is the fact that says them, `from_on` its first day. Of the three targets one is filled;
    `anchor_on` is empty where each device counts from its own first day."""

    plan: int
    terms: int
    name: str
    device_class: int | None
    device_model: int | None
    device: int | None
    procedure: int
    rule: IntervalRule
    anchor_on: dt.date | None
    usage: UsageLimit | None
    basis: PlanBasis
    from_on: dt.date
    ended: bool


def terms_on(day: dt.date, known: int) -> list[PlanTermsRecord]:
    """The terms of every plan in force on the day, ended plans too, in order of plans, as known at a size of the
    history: two statements.

    Raises NoWindowForInterval where a plan takes its window from the table, and the table of that day has none.
    """
    table = window_table_on(day, known)
    return [_record(terms, table) for terms in PlanTerms.objects.known(known).on(day).order_by("plan")]


@dataclass(frozen=True, slots=True)
class FormerTerms:
    """What a plan said before: for which devices, which procedure, how often, from which anchor."""

    device_class: int | None
    device_model: int | None
    device: int | None
    procedure: int
    rule: IntervalRule
    anchor_on: dt.date | None
    from_on: dt.date


def former_terms(day: dt.date, known: int) -> list[FormerTerms]:
    """All terms that any plan had by the day, but for those that ended one; the newest first: one statement. The
    windows of their rules are left out: they say on which days something was due."""
    rows = PlanTerms.objects.known(known).filter(from_on__lte=day, ended=False).order_by("-from_on", "-pk")
    bare = Window.days(0, 0)
    return [
        FormerTerms(
            device_class=terms.device_class_id,
            device_model=terms.device_model_id,
            device=terms.device_id,
            procedure=terms.procedure_id,
            rule=IntervalRule(terms.every, Unit(terms.unit), Basis(terms.counts_from), bare),
            anchor_on=terms.anchor_on,
            from_on=terms.from_on,
        )
        for terms in rows
    ]


def _record(terms: PlanTerms, table: WindowTable) -> PlanTermsRecord:
    return PlanTermsRecord(
        plan=terms.plan_id,
        terms=terms.pk,
        name=terms.name,
        device_class=terms.device_class_id,
        device_model=terms.device_model_id,
        device=terms.device_id,
        procedure=terms.procedure_id,
        rule=_rule(terms, table),
        anchor_on=terms.anchor_on,
        usage=_usage(terms),
        basis=PlanBasis(terms.basis),
        from_on=terms.from_on,
        ended=terms.ended,
    )


def _rule(terms: PlanTerms, table: WindowTable) -> IntervalRule:
    unit = Unit(terms.unit)
    if terms.window == WindowKind.TABLE:
        window = Window.from_table(table, terms.every, unit)
    else:
        window = window_of_columns(terms.window, terms.window_before, terms.window_after)
    return IntervalRule(terms.every, unit, Basis(terms.counts_from), window)


def _usage(terms: PlanTerms) -> UsageLimit | None:
    if terms.usage_limit is None or terms.usage_unit is None:
        return None
    return UsageLimit(Decimal(terms.usage_limit), UsageUnit(terms.usage_unit))
