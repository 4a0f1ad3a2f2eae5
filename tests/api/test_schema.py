"""The OpenAPI document is valid, says of each operation what it takes and answers, and tells the truth about it."""

import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from openapi_spec_validator import validate

from api.schema import document
from pmcore.engines.vocabulary import Role
from pmcore.models import InspectionSession
from tests.api.asking import PROBLEM, by_token
from tests.api.test_routes import EXPECTED, filled
from tests.bench_cast import a_bench
from tests.cast import a_hospital, a_person, a_plan, a_procedure
from tests.export.building import done as exported
from tests.story import a_story, day


@pytest.fixture(autouse=True)
def data(settings, tmp_path):
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"


def the_document() -> dict[str, Any]:
    read: dict[str, Any] = json.loads(json.dumps(document()))
    return read


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in the_document()["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def test_it_is_valid():
    validate(the_document())
    assert the_document()["openapi"].startswith("3.")


def test_every_route_stands_in_it():
    paths = {path.removeprefix("/api/v1/") for path in the_document()["paths"]}
    assert paths == {route.replace("<key:", "{").replace(">", "}") for route in EXPECTED}


def test_every_operation_is_described_in_one_sentence():
    for path, _, operation in operations():
        said = operation["description"]
        assert said.endswith("."), path
        assert ". " not in said, path


def test_every_parameter_is_described():
    for path, _, operation in operations():
        for parameter in operation.get("parameters", ()):
            assert parameter["description"].endswith("."), (path, parameter["name"])


def test_every_operation_says_how_one_signs_in_and_what_errors_look_like():
    schemes = the_document()["components"]["securitySchemes"]
    assert schemes["token"]["name"] == "Authorization"
    for path, _, operation in operations():
        assert {name for each in operation["security"] for name in each} == schemes.keys(), path
        assert {"200", "400", "401", "403", "404", "406", "500"} <= operation["responses"].keys(), path
        problem = {"schema": {"$ref": "#/components/schemas/Problem"}}
        for status, response in operation["responses"].items():
            if status >= "400":
                assert response["content"] == {PROBLEM: problem}, (path, status)


@pytest.mark.django_db
def test_it_is_read_as_json():
    hospital = a_hospital()
    assert by_token(hospital.odile).get("schema/") == the_document()


def example(parameter: dict[str, Any], story: Any) -> str:
    """A value that the parameter takes."""
    by_name = {"period": "2026-07", "from": "2026-07-01", "to": "2026-07-31", "since": "1", "as_of": "2026-10-01",
               "known": "12", "site": str(story.sites[0]), "group": "controls", "reference": "drive"}  # fmt: skip
    schema = parameter["schema"]
    schema = schema.get("items", schema)
    if schema.get("format") == "date":
        by_name.setdefault(parameter["name"], "2026-07-01")
    return by_name.get(parameter["name"]) or str(schema.get("enum", ["1"])[0])


@pytest.mark.django_db
def test_exactly_the_parameters_that_are_named_are_taken():
    """Each is taken by itself; a cursor is no one's to make up."""
    story = a_story()
    asker = by_token(story.manager)
    ids = ids_of(story)
    tried = 0
    for path, method, operation in operations():
        if method != "get":
            continue
        address = path.removeprefix("/api/v1/")
        for name, value in ids.items():
            address = address.replace(name, value)
        parameters = {each["name"]: each for each in operation.get("parameters", ()) if each["in"] == "query"}
        base = {name: example(parameters[name], story) for name in ("period", "since", "group") if name in parameters}
        for name, parameter in parameters.items():
            asked = base | {name: example(parameter, story)}
            if name in {"from", "to"}:
                asked = {key: value for key, value in asked.items() if key != "period"}
                asked |= {"from": "2026-07-01", "to": "2026-07-31"}
            if name == "known":
                asked |= {"as_of": "2025-06-15"}  # a day that was over when the history was so short
            if name != "cursor":
                neither_known_yet = name == "known" and path.endswith(("{due}/", "{inspection}/"))
                asker.get(address, 404 if neither_known_yet else 200, **asked)
                tried += 1
        unknown = asker.get(address, status=400, nonsense="1", **base)["errors"]["nonsense"]
        for name in parameters:
            assert f" {name}" in unknown
    assert tried > 40


@pytest.mark.django_db
def test_every_answer_is_as_the_document_says():
    story = a_story()
    story.search(day(6, 20))
    story.inspect(day(7, 16), recorded=day(8, 10))
    a_plan(story.manager, a_procedure(story.manager, "Other check"), device=story.device)
    asker = by_token(a_person("Ines Kaldervik", Role.AUDITOR, *story.sites))
    check_answers(asker, ids_of(story))


def ids_of(story: Any) -> dict[str, str]:
    done = InspectionSession.objects.values_list("inspection_id", flat=True).first()
    return {
        "{device}": str(story.device), "{procedure}": str(story.procedure), "{due}": str(story.due().pk),
        "{inspection}": str(done), "{export}": str(exported(story.manager).id),
    }  # fmt: skip


def check_answers(asker: Any, ids: dict[str, str]) -> None:
    whole = the_document()
    questions = {
        "/api/v1/compliance/": "?period=2026-07&group_by=site",
        "/api/v1/compliance/changes/": "?period=2026-07&since=20",
        "/api/v1/comparisons/": "?group=controls",
    }
    for path, method, operation in operations():
        if method != "get":
            continue
        address = path
        for name, value in ids.items():
            address = address.replace(name, value)
        answer = asker.response("get", address + questions.get(path, ""))
        assert answer.status_code == 200, (path, answer.content)
        [media] = operation["responses"]["200"]["content"]
        assert answer["Content-Type"].partition(";")[0] == media
        if media != "application/json":
            continue
        schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
        jsonschema.validate(answer.json(), {**schema, "components": whole["components"]})


@pytest.mark.django_db
def test_an_error_is_as_the_document_says():
    hospital = a_bench()
    asker = by_token(hospital.odile)
    components = the_document()["components"]
    for route in EXPECTED:
        address = filled(route, hospital).partition("?")[0]
        said = asker.response("get", f"{address}?nonsense=1").json()
        assert jsonschema.Draft202012Validator(
            {"$ref": "#/components/schemas/Problem", "components": components}
        ).is_valid(said)
