"""Counts over columns, against counting one by one; and how a share is written."""

from collections import Counter
from fractions import Fraction

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.compliance import COUNTED, Share, devices_met, tally, tally_by
from pmcore.engines.vocabulary import Counted

DUE = {Counted.MET, Counted.MET_LATE, Counted.REASON_RECORDED, Counted.NO_REASON}
ROWS = st.lists(st.tuples(st.sampled_from(COUNTED), st.integers(1, 4)), max_size=30)


def columns(rows):
    words = np.array([COUNTED.index(word) for word, _ in rows], np.int8)
    return words, np.array([number for _, number in rows], np.int64)


def plain(rows):
    numbers = Counter(word for word, _ in rows)
    return {str(word): numbers[word] for word in COUNTED}


def as_words(counted):
    return {str(word): getattr(counted, str(word)) for word in COUNTED}


@given(ROWS)
def test_each_word_is_counted(rows):
    counted = tally(columns(rows)[0])
    assert as_words(counted) == plain(rows)
    assert counted.due == sum(word in DUE for word, _ in rows)
    assert counted.share == Share(plain(rows)["met"], counted.due)


@given(ROWS)
def test_each_group_is_counted_by_itself(rows):
    words, group = columns(rows)
    expected = {key: plain([row for row in rows if row[1] == key]) for key in sorted({key for _, key in rows})}
    found = tally_by(words, group)
    assert {key: as_words(counted) for key, counted in found.items()} == expected
    assert list(found) == list(expected)


@given(ROWS)
def test_a_device_is_met_when_everything_due_of_it_is(rows):
    due = {device: set() for word, device in rows if word in DUE}
    for word, device in rows:
        if word in DUE:
            due[device].add(word)
    assert devices_met(*columns(rows)) == Share(sum(words == {Counted.MET} for words in due.values()), len(due))


@given(st.integers(0, 5_000), st.integers(0, 5_000))
def test_a_share_is_rounded_half_up_and_never_up_to_a_hundred(first, second):
    share = Share(min(first, second), max(first, second))
    if share.denominator == 0:
        assert (share.percent, str(share)) == (None, "no data")
        return
    tenths = int(Fraction(1_000 * share.numerator, share.denominator) + Fraction(1, 2))
    if share.numerator < share.denominator:
        tenths = min(tenths, 999)
    assert share.percent is not None and share.percent * 10 == tenths
    assert str(share) == f"{tenths // 10}.{tenths % 10} %"
