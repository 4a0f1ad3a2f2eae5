"""Free text that looks as though it named a patient. A caution, never a refusal: a serial number may look the same.

The rule is ours and modest: it knows the shapes of hospital numbers and days of birth as they are commonly written,
and a title or the word "patient" before a name (common practice, no source). It misses most and errs sometimes.
"""

import re
from enum import StrEnum


class LooksLike(StrEnum):
    HOSPITAL_NUMBER = "hospital_number"
    BIRTH = "day_of_birth"
    NAME = "name_of_a_patient"


_NUMBER = re.compile(r"(?<![\w.-])(?:\d{3}[ -]\d{3}[ -]\d{4}|\d{7,12})(?![\w.-]\w|\w)")
_BORN = re.compile(r"\b(?:born|d\.?o\.?b|date of birth|day of birth)\b", re.IGNORECASE)
_DAY = re.compile(r"(?<!\d)(?:(?:0?[1-9]|[12]\d|3[01])[./-](?:0?[1-9]|1[0-2])[./-]19\d\d|19\d\d-\d\d-\d\d)(?!\d)")
_NAMED = re.compile(r"\b(?:(?:[Pp]atient|[Pp]t)\.?:?|Mr\.?|Mrs\.?|Ms\.?|Miss)\s+(?P<name>[A-Z][a-z]+)")
_THINGS = frozenset({"Lift", "Hoist", "Support", "Monitor", "Table", "Bed", "Trolley", "Warmer", "Side", "Data"})


def looks_like_patient(text: str) -> LooksLike | None:
    """What in the text looks like a patient; None: nothing does."""
    if any(found["name"] not in _THINGS for found in _NAMED.finditer(text)):
        return LooksLike.NAME
    if _BORN.search(text) or _DAY.search(text):
        return LooksLike.BIRTH
    return LooksLike.HOSPITAL_NUMBER if _NUMBER.search(text) else None
