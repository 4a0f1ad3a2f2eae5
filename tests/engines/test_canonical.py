"""The record's bytes are those of RFC 8785 for every value it may hold, and every other value is refused by place."""

import datetime
import decimal
import enum
import hashlib
from json.encoder import py_encode_basestring

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.canonical import DEEPEST, NotCanonical, canonical_bytes, quote

LARGEST = 2**53 - 1
ASCII = st.text(st.characters(max_codepoint=0x7F), max_size=12)
# Lone surrogates (category Cs) are the only text that JSON in UTF-8 cannot carry.
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
SCALARS = st.booleans() | st.integers(-LARGEST, LARGEST) | TEXT
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=6) | st.lists(inner, max_size=6).map(tuple) | st.dictionaries(ASCII, inner, max_size=6)
    ),
    max_leaves=40,
)

# RFC 8785 (June 2020) section 3.2.2, the sample of the text, parsed (from memory; the digest below pins every byte).
RFC_SAMPLE = {
    "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
    "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
    "literals": [None, True, False],
}
# SHA-256 of the UTF-8 bytes that section 3.2.4 lists for it (computed).
RFC_SAMPLE_SHA256 = "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"


class Grade(enum.StrEnum):
    HIGH = "high"


class Rank(enum.IntEnum):
    FIRST = 1


@given(VALUES)
def test_any_value_of_the_record_has_the_bytes_of_an_independent_writer(value):
    assert canonical_bytes(value) == rfc8785.dumps(value)


@given(TEXT)
def test_a_quoted_text_has_the_bytes_of_an_independent_writer(text):
    assert quote(text).encode() == rfc8785.dumps(text)


@pytest.mark.parametrize("first", range(0, 0x110000, 0x1000))
def test_every_character_there_is_has_the_bytes_of_an_independent_writer(first):
    text = "".join(chr(code) for code in range(first, first + 0x1000) if not 0xD800 <= code <= 0xDFFF)
    assert quote(text).encode() == rfc8785.dumps(text)


def test_the_writer_without_the_c_extension_escapes_alike():
    text = "".join(map(chr, range(0x100)))
    assert py_encode_basestring(text) == quote(text)


def test_the_independent_writer_gives_the_bytes_of_the_standards_own_sample():
    assert hashlib.sha256(rfc8785.dumps(RFC_SAMPLE)).hexdigest() == RFC_SAMPLE_SHA256


def test_the_standards_own_sample_is_refused_at_its_null():
    with pytest.raises(NotCanonical) as refused:
        canonical_bytes(RFC_SAMPLE)
    assert str(refused.value) == "literals[0]: NoneType is not written"


def test_the_text_of_the_standards_sample_is_written_as_printed_there():
    """RFC 8785 section 3.2.3, the member "string" of the canonical sample (from memory)."""
    assert canonical_bytes({"string": RFC_SAMPLE["string"]}) == r"""{"string":"€$\u000f\nA'B\"\\\\\"/"}""".encode()


def test_members_sort_as_in_the_standards_sorting_sample():
    """RFC 8785 section 3.2.3, its two members with ASCII names (from memory): carriage return before "1"."""
    assert canonical_bytes({"1": "One", "\r": "Carriage Return"}) == rb'{"\r":"Carriage Return","1":"One"}'


def test_members_sort_alike_in_whatever_order_they_were_set():
    assert canonical_bytes({"b": 1, "a": {"d": 2, "C": 3}}) == canonical_bytes({"a": {"C": 3, "d": 2}, "b": 1})
    assert canonical_bytes({"b": 1, "B": 2, "a_": 3, "a": 4, "": 5}) == b'{"":5,"B":2,"a":4,"a_":3,"b":1}'


def test_enumerations_are_written_as_their_values():
    assert canonical_bytes([Grade.HIGH, Rank.FIRST, {Grade.HIGH: True}]) == b'["high",1,{"high":true}]'


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ({}, b"{}"),
        ([], b"[]"),
        ((), b"[]"),
        ("", b'""'),
        (-LARGEST, b"-9007199254740991"),
        (LARGEST, b"9007199254740991"),
    ],
)
def test_the_smallest_and_largest_values(value, written):
    assert canonical_bytes(value) == written


@pytest.mark.parametrize(
    ("value", "name"),
    [
        (None, "NoneType"),
        (1.0, "float"),
        (float("nan"), "float"),
        (decimal.Decimal("1.5"), "Decimal"),
        (datetime.date(2026, 11, 3), "date"),
        (b"bytes", "bytes"),
        ({1}, "set"),
        (iter([1]), "list_iterator"),
    ],
)
def test_any_other_type_is_refused_where_it_stands(value, name):
    with pytest.raises(NotCanonical) as refused:
        canonical_bytes({"kind": "x", "rows": [1, {}, {"note": value}]})
    assert str(refused.value) == f"rows[2].note: {name} is not written"
    assert refused.value.place == "rows[2].note"


@pytest.mark.parametrize("value", [LARGEST + 1, -LARGEST - 1, pytest.param(10**5000, id="5001 digits")])
def test_an_integer_that_is_not_exact_everywhere_is_refused(value):
    with pytest.raises(NotCanonical, match=r"^a: an integer beyond"):
        canonical_bytes({"a": value})


@pytest.mark.parametrize("text", ["\ud800", "before \udfff", "\ud83d\ude00"])
def test_a_lone_surrogate_is_refused(text):
    with pytest.raises(NotCanonical, match=r"^rows\[0\]: a lone surrogate"):
        canonical_bytes({"rows": [text]})
    with pytest.raises(NotCanonical, match=r"^the value: a lone surrogate"):
        quote(text)


@pytest.mark.parametrize("key", ["größe", "\U0001f600", "\ud800", 1, None, True, b"note", ("a",)])
def test_a_key_that_is_not_ascii_text_is_refused(key):
    with pytest.raises(NotCanonical) as refused:
        canonical_bytes({"rows": [{"note": 1, key: 2}]})
    assert str(refused.value) == f"rows[0]: the key {key!a} is not ASCII text"


@pytest.mark.parametrize(
    ("value", "place"),
    [
        (None, "the value"),
        ([None], "[0]"),
        ({"": None}, '[""]'),
        ({"a.b": [[None]]}, '["a.b"][0][0]'),
        ({"a\n": {"b": None}}, r'["a\n"].b'),
    ],
)
def test_the_place_is_told_apart_whatever_the_keys(value, place):
    with pytest.raises(NotCanonical) as refused:
        canonical_bytes(value)
    assert str(refused.value) == f"{place}: NoneType is not written"


def nested(levels):
    value = []
    for _ in range(levels - 1):
        value = [value]
    return value


def test_the_deepest_nesting_is_written_and_one_level_more_is_refused():
    assert canonical_bytes(nested(DEEPEST)) == b"[" * DEEPEST + b"]" * DEEPEST
    with pytest.raises(NotCanonical, match=f"nested deeper than {DEEPEST} levels"):
        canonical_bytes(nested(DEEPEST + 1))


def test_a_value_inside_itself_is_refused():
    row = {"note": "x"}
    row["part"] = [row]
    with pytest.raises(NotCanonical, match=r"^part\[0\]\.part\[0\].*inside itself"):
        canonical_bytes(row)


def test_refused_values_are_not_repeated_in_the_message():
    with pytest.raises(NotCanonical) as refused:
        canonical_bytes({"note": "private \ud800"})
    assert "private" not in str(refused.value)
