"""Words read as they are stored: composed characters, and nothing that nobody sees."""

import pytest

from pmcore.models import AreaDetails, PersonDetails
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from tests.cast import check_refused
from tests.history import MARCH, World, small_world, written

pytestmark = pytest.mark.django_db

UNSEEN = {
    "a zero-width space": "\u200b",
    "a soft hyphen": "\u00ad",
    "a turn to the left": "\u202e",
    "a byte order mark": "\ufeff",
    "a control character of the second row": "\u0085",
    "a line separator": "\u2028",
    "a paragraph separator": "\u2029",
}


@pytest.fixture
def world() -> World:
    return small_world()


def named(world: World, name: str) -> None:
    row = Row(AreaDetails, area=world.ward, from_on=MARCH, name=name, kind="ward", closed=False)
    written("area_described", world.ward, row)


def described(world: World, words: str) -> None:
    written("person_described", world.person, Row(PersonDetails, person=world.person, from_on=MARCH, name=words))


@pytest.mark.parametrize("case", UNSEEN)
def test_what_nobody_sees_is_refused(world: World, case: str) -> None:
    for write in (named, described):
        with check_refused(BadValue, "cannot be seen"):
            write(world, f"Ward{UNSEEN[case]}6")


def test_composed_characters_alone_are_taken(world: World) -> None:
    for write in (named, described):
        with check_refused(BadValue, "NFC"):
            write(world, "Cafe\u0301")
    named(world, "Caf\u00e9")
    assert AreaDetails.objects.current().get(from_on=MARCH).name == "Caf\u00e9"


@pytest.mark.parametrize("space", ["\u00a0", "\u2007", "\u202f", "\u3000", " "])
def test_no_space_of_any_kind_stands_at_the_ends(world: World, space: str) -> None:
    for name in (f"Ward 6{space}", f"{space}Ward 6"):
        with check_refused(BadValue, "begins or ends with a space"):
            named(world, name)


def test_free_text_keeps_its_lines_and_joiners(world: World) -> None:
    words = "First.\r\n\tSecond, \u0646\u0645\u06cc\u200c\u062f\u0627\u0646\u0645."
    described(world, words)
    assert PersonDetails.objects.current().get(from_on=MARCH).name.words == words


def test_short_words_have_one_line(world: World) -> None:
    with check_refused(BadValue, "control character"):
        named(world, "Ward\n6")
