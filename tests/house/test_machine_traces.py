"""The text of the checkout names no machine: no address that packages came from, no path of whoever wrote it."""

import pytest

from tests.house.checkout import ROOT, files, named
from tests.house.rules import machine_traces

pytestmark = pytest.mark.house

# These say where the checkout lies inside an image, which is where the tests may be running.
IMAGE = {"Dockerfile", "compose.yaml", "compose.yml"}


def test_no_file_names_the_machine_it_was_written_on() -> None:
    found = {}
    for path in files():
        text = path.read_bytes().decode(errors="ignore")
        home = str(ROOT) if path.name not in IMAGE else "\0"
        found[named(path)] = list(machine_traces(text, home))
    assert {name: traces for name, traces in found.items() if traces} == {}


@pytest.mark.parametrize("trace", ["index" + "-url", "INDEX" + "_URL", "/home" + "/somebody/", "/srv/checkout"])
def test_a_trace_is_seen(trace: str) -> None:
    assert list(machine_traces(f"pip --x={trace} y", home="/srv/checkout")) == [trace]


def test_the_option_that_leaves_the_address_out_and_a_longer_path_are_no_traces() -> None:
    home = "/srv/checkout"
    assert list(machine_traces(f"uv pip compile --no-emit-index-url -o {home}-of-others", home)) == []
