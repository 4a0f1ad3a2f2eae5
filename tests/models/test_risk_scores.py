"""An assessment scores the factors that its table has, however many there are."""

import pytest

from pmcore.models import RiskAssessment, RiskPoints, RiskScore, RiskTable, RiskTableValues
from pmcore.models.rows import Row
from pmcore.queries.verification import verify
from tests.cast import JANUARY, a_hospital
from tests.history import written

pytestmark = pytest.mark.django_db

FACTORS = {"function": 5, "physical risk": 4, "maintenance": 3, "incident history": 1}


def test_an_assessment_has_a_level_for_each_factor_of_its_table() -> None:
    hospital = a_hospital()
    table = Row(RiskTable)
    values = Row(
        RiskTableValues, table=table, from_on=JANUARY, name="Four factors", source="The department",
        included_from=8, high_risk_from=12,
    )  # fmt: skip
    points = [Row(RiskPoints, values=values, factor=each, level="high", points=n) for each, n in FACTORS.items()]
    written("risk_table_named", table, table, values, *points)
    assessment = Row(
        RiskAssessment, device_class=hospital.table, from_on=JANUARY, table=table.id,
        assessed_by=hospital.odile.person,
    )  # fmt: skip
    scores = [Row(RiskScore, assessment=assessment, factor=factor, level="high") for factor in FACTORS]
    written("risk_assessed", hospital.table, assessment, *scores)
    read = RiskScore.objects.current().filter(assessment__device_class=hospital.table).order_by("id")
    assert list(read.values_list("factor", "level")) == [(factor, "high") for factor in FACTORS]
    assert verify().sound
