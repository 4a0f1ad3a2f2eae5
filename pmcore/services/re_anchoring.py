"""An anchored plan counts from another day for one device, by the same act that records the inspection of that day."""

import datetime as dt

from pmcore.engines.coverage import Aim
from pmcore.engines.due_dates import IntervalRule, Window, half_passed
from pmcore.engines.vocabulary import Basis, Unit
from pmcore.models import (
    CarriedOver,
    DeviceIdentity,
    DueInspection,
    InspectionPlan,
    ModelDetails,
    PlanAnchor,
    PlanTerms,
)
from pmcore.models.rows import Row
from pmcore.queries.inspections import CompletedInspection
from pmcore.queries.procedures import Covering
from pmcore.services.refusals import RecordRefused, UnknownReference


class CannotReAnchor(RecordRefused):
    """The plan is not anchored, has ended, or asks for something else than was done on this device."""


class TooEarlyToReAnchor(RecordRefused):
    """Less than half the interval has passed since the last complete inspection, and no window has opened since."""


class NothingToAnchorTo(RecordRefused):
    """The inspection is not complete: there is no day yet that the plan could count from."""


def anchor_row(plan: int, device: int, day: dt.date) -> Row:
    return Row(PlanAnchor, plan=plan, device=device, from_on=day, anchor_on=day)


def check_re_anchoring(
    plan: int, done: CompletedInspection | None, earlier: list[CompletedInspection], day: dt.date, known: int
) -> None:
    """May the plan count from `day` for the device? `done`: the inspection as it stands complete, `earlier`: the
    device's other complete inspections.

    Raises UnknownReference, NothingToAnchorTo, CannotReAnchor, TooEarlyToReAnchor.
    """
    if not InspectionPlan.objects.filter(pk=plan).exists():
        raise UnknownReference("inspection_plan", [plan])
    if done is None or done.performed_on != day:
        raise NothingToAnchorTo(f"The inspection was not completed on {day}.")
    terms = PlanTerms.objects.known(known).on(day).filter(plan=plan, ended=False, counts_from=Basis.ANCHORED).first()
    if terms is None:
        raise CannotReAnchor(f"The plan {plan} is not anchored on {day}, or not in force.")
    covering = Covering(known)
    if not covering.does(done, terms.procedure_id):
        raise CannotReAnchor(f"The plan {plan} asks for another procedure.")
    if not _covers(terms, done.device, day, known):
        raise CannotReAnchor(f"The plan {plan} does not cover the device {done.device}.")
    counting = [each for each in earlier if covering.does(each, terms.procedure_id)]
    last = _last_done(done.device, terms.procedure_id, counting, day, known)
    if last is not None and not _late_enough(terms, done.device, last, day):
        raise TooEarlyToReAnchor(f"Less than half the interval has passed since {last}.")


def _covers(terms: PlanTerms, device: int, day: dt.date, known: int) -> bool:
    model = DeviceIdentity.objects.known(known).filter(device=device).values_list("device_model_id", flat=True).first()
    described = ModelDetails.objects.known(known).on(day).filter(device_model=model)
    device_class = described.values_list("device_class_id", flat=True).first()
    return Aim(terms.device_id, terms.device_model_id, terms.device_class_id).meets(device, model, device_class)


def _last_done(
    device: int, procedure: int, earlier: list[CompletedInspection], day: dt.date, known: int
) -> dt.date | None:
    days = [done.performed_on for done in earlier if done.performed_on <= day]
    carried = CarriedOver.objects.known(known).filter(device=device, procedure=procedure, performed_on__lte=day)
    return max([*days, *carried.values_list("performed_on", flat=True)], default=None)


def _late_enough(terms: PlanTerms, device: int, last: dt.date, day: dt.date) -> bool:
    rule = IntervalRule(terms.every, Unit(terms.unit), Basis.ANCHORED, Window.days(0, 0))
    opened = DueInspection.objects.filter(plan=terms.plan_id, device=device, opens_on__gt=last, opens_on__lte=day)
    return half_passed(rule, last, day) or opened.exists()
