"""The risk class on a day, by the plain reading: each word that has begun holds, but for one that lowers the class
before the day on which it was written."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.risk import RISK_ORDER, RiskWord, risk_class_on
from pmcore.engines.vocabulary import RiskClass

DAYS = st.dates(dt.date(2026, 1, 1), dt.date(2026, 1, 20))
CLASSES = st.sampled_from(RISK_ORDER)
WORDS = st.lists(st.builds(RiskWord, DAYS, DAYS, st.none() | CLASSES), max_size=6).map(
    lambda words: sorted(words, key=lambda word: word.from_on)
)


@given(WORDS, DAYS, CLASSES)
def test_words_hold_from_their_day_and_lower_from_their_writing(words, day, otherwise):
    said = otherwise
    for word in [word for word in words if word.from_on <= day]:
        becomes = word.risk_class if word.risk_class is not None else otherwise
        if RISK_ORDER.index(becomes) >= RISK_ORDER.index(said) or word.recorded_on <= day:
            said = becomes
    assert risk_class_on(words, day, otherwise) == said


@given(WORDS, DAYS)
def test_what_is_written_later_never_lowers_an_earlier_day(words, day):
    written_in_time = [word for word in words if word.recorded_on <= day]
    before = risk_class_on(written_in_time, day)
    late = [word for word in words if word.recorded_on > day and word.risk_class == RiskClass.OTHER]
    after = risk_class_on(sorted([*written_in_time, *late], key=lambda word: word.from_on), day)
    assert RISK_ORDER.index(after) >= RISK_ORDER.index(before)
