"""Free text that looks like a patient is noticed, and what a technician writes every day is not. All names and numbers
are invented. Our own rule, no source."""

import pytest

from pmcore.engines.patient_words import LooksLike, looks_like_patient


@pytest.mark.parametrize(
    ("text", "like"),
    [
        ("Came off while patient Aldersey was on it.", LooksLike.NAME),
        ("Used for Mrs Brontesk in theatre 2", LooksLike.NAME),
        ("Pt. Merrow turned on the left side", LooksLike.NAME),
        ("born 1962, table sank", LooksLike.BIRTH),
        ("DOB 3.4.62", LooksLike.BIRTH),
        ("03/04/1962 reported by the ward", LooksLike.BIRTH),
        ("3.4.1962", LooksLike.BIRTH),
        ("1962-04-03", LooksLike.BIRTH),
        ("Hospital number 4821 stands for 999 123 4567", LooksLike.HOSPITAL_NUMBER),
        ("999-123-4567", LooksLike.HOSPITAL_NUMBER),
        ("id 81239475", LooksLike.HOSPITAL_NUMBER),
    ],
)
def test_what_looks_like_a_patient(text: str, like: LooksLike) -> None:
    assert looks_like_patient(text) is like


@pytest.mark.parametrize(
    "text",
    [
        "",
        "It sank under load, twice.",
        "The patient was turned by hand; nobody was hurt.",
        "Patient Lift does not rise. Patient side brake is loose.",
        "Read 640 µA, limit 500; battery 24.6 V after 30 min.",
        "Part OM-4471-22 changed on 2026-06-01, order 44718.",
        "Serial Q000332, lot AB1234567C, 01.06.2026.",
        "Cell 12.85.1962.3 and ratio 0.38123456789",
        "Missed the bolt; ms of delay. Mr is no name.",
    ],
)
def test_what_is_written_every_day(text: str) -> None:
    assert looks_like_patient(text) is None
