"""A test must be able to fail."""

import pytest

from tests.house.checkout import is_under, named, python_files
from tests.house.rules import hollow_tests

pytestmark = pytest.mark.house


def test_every_test_can_fail() -> None:
    tests = [path for path in python_files() if is_under(path, "tests")]
    assert [f"{named(path)}: {name}" for path in tests for name in hollow_tests(path.read_text())] == []


@pytest.mark.parametrize(
    "body",
    ["pass", "assert True", "assert 1, 'reached'", "assert (result == 3, 'always true')", "expected = 3", "run(x=1)"],
)
def test_a_test_that_cannot_fail_is_seen(body: str) -> None:
    assert hollow_tests(f"def test_it():\n    {body}") == ["test_it"]


@pytest.mark.parametrize(
    "body",
    [
        "assert result == 3",
        "with pytest.raises(ValueError): run()",
        "assert_same_rows(left, right)",
        "self.assertEqual(left, right)",
        "check_law(rule)",
        "with django_assert_num_queries(1): run()",
    ],
)
def test_a_test_that_can_fail_is_not(body: str) -> None:
    assert hollow_tests(f"class TestIt:\n    async def test_it(self):\n        {body}") == []


@pytest.mark.parametrize(("name", "body", "hollow"), [("refused", "assert x == 3", []), ("check", "pass", ["test_it"])])
def test_a_function_of_the_same_file_counts_by_what_it_does(name: str, body: str, hollow: list[str]) -> None:
    source = f"def test_it(): through()\ndef through(): {name}()\ndef {name}(): {body}"
    assert hollow_tests(source) == hollow
