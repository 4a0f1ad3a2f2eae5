"""Exports of the history: asking for one, seeing how far it is, fetching its files, giving it up."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.http import FileResponse, Http404
from rest_framework import serializers
from rest_framework import status as http
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from api.documented import in_the_path
from api.views import ApiView
from api.writing import WholeNumber
from pmcore.queries.exports import FILES, MEDIA_TYPES, ExportTold, export_for, exports_for, file_of
from pmcore.queries.parameters import BadParameters
from pmcore.services.exports import ask_export, cancel_export

_MOST_SITES = 1_000


class AskedSerializer(serializers.Serializer[Any]):
    """Of the history as it was with `known` entries (all of them, where nothing is said): the entries of the days (in
    UTC) `from` to `to`, at these `sites` (by id) and at no site. What is not said narrows nothing."""

    to = serializers.DateField(required=False, allow_null=True)
    sites = serializers.ListField(
        child=WholeNumber(), required=False, allow_null=True, allow_empty=False, max_length=_MOST_SITES
    )
    known = WholeNumber(required=False, allow_null=True)

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping) and (unknown := sorted(set(data) - set(self.fields))):
            there = ", ".join(self.fields)
            raise ValidationError({name: [f"There is no field {name!r}; there are {there}."] for name in unknown})
        return super().to_internal_value(data)


class FilesSerializer(serializers.Serializer[Any]):
    """Addresses: of the exact bytes, one entry a line; of a table for spreadsheets; of the pack that verifies alone."""

    ndjson = serializers.URLField()
    csv = serializers.URLField()
    pack = serializers.URLField()


class ExportSerializer(serializers.Serializer[Any]):
    """`state`: waiting, running, done or failed; `progress`: how far it is, in words; `error`: why it failed. `known`,
    `from`, `to` and `sites` are its scope, null where it is not narrowed. `entries` and `files`: null until it is
    done."""

    id = serializers.IntegerField()
    url = serializers.URLField()
    state = serializers.ChoiceField(choices=["waiting", "running", "done", "failed"])
    progress = serializers.CharField(allow_blank=True)
    error = serializers.CharField(allow_null=True)
    known = serializers.IntegerField()
    to = serializers.DateField(allow_null=True)
    sites = serializers.ListField(child=serializers.IntegerField(), allow_null=True)
    asked_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    entries = serializers.IntegerField(allow_null=True)
    files = FilesSerializer(allow_null=True)


# A field of this name cannot be written in the body of a class.
AskedSerializer._declared_fields["from"] = serializers.DateField(required=False, allow_null=True)
ExportSerializer._declared_fields["from"] = serializers.DateField(allow_null=True)


class ExportsSerializer(serializers.Serializer[Any]):
    """The newest first."""

    results = ExportSerializer(many=True)


class _Exports(ApiView):
    period = ()  # a narrowed token sees what lies within

    def told(self, export: int) -> ExportTold:
        """Raises Http404."""
        found = export_for(export, self.actor)
        if found is None:
            raise Http404
        return found

    def answer_of(self, told: ExportTold) -> dict[str, Any]:
        url = self.request.build_absolute_uri(f"/api/v1/history-exports/{told.id}/")
        files = {name: f"{url}{file}" for name, file in FILES.items()} if told.state == "done" else None
        scope = told.scope
        said = {
            "id": told.id, "url": url, "state": told.state, "progress": told.progress, "error": told.error or None,
            "known": scope.known, "from": scope.begins_on, "to": scope.ends_on, "sites": scope.sites,
            "asked_at": told.asked_at, "ended_at": told.ended_at, "entries": told.entries, "files": files,
        }  # fmt: skip
        return dict(ExportSerializer(said).data)


class HistoryExports(_Exports):
    resource = "history-exports"
    says = {
        "GET": "Lists the newest exports that hold nothing kept from you, at most 50.",
        "POST": "Asks for an export of the history; the same request at the same size is the same export.",
    }
    serializer = ExportsSerializer
    body = AskedSerializer
    answer = ExportSerializer
    is_keyed = False  # asked again, it is the same export

    def get(self, request: Request) -> Response:
        self.asked().refuse()
        return Response({"results": [self.answer_of(told) for told in exports_for(self.actor)]})

    def post(self, request: Request) -> Response:
        if unknown := self.given():
            raise BadParameters({name: f"There is no parameter {name!r} here." for name in unknown})
        body = self.body(data=request.data)
        body.is_valid(raise_exception=True)
        asked: dict[str, Any] = body.validated_data
        first: dt.date | None = asked.get("from")
        export = ask_export(
            begins_on=first, ends_on=asked.get("to"), sites=asked.get("sites"), known=asked.get("known"),
            actor=self.actor, at=self.at,
        )  # fmt: skip
        told = self.told(export)
        status = http.HTTP_201_CREATED if told.asked_at == self.at else http.HTTP_200_OK
        said = self.answer_of(told)
        return Response(said, status=status, headers={"Location": said["url"]})


class HistoryExport(_Exports):
    resource = "history-export"
    says = {
        "GET": "Tells how far an export is and, once it is done, where its files are.",
        "DELETE": "Gives an export up and takes its files away; asked for again, the same ones are made.",
    }
    serializer = ExportSerializer
    parameters = (in_the_path("export", "The id of the export."),)
    http_method_names = ["get", "head", "delete"]

    def get(self, request: Request, export: int) -> Response:
        self.asked().refuse()
        return Response(self.answer_of(self.told(export)))

    def delete(self, request: Request, export: int) -> Response:
        self.asked().refuse()
        cancel_export(export=self.told(export).id, actor=self.actor, at=self.at)
        return Response(self.answer_of(self.told(export)))


class HistoryExportFile(_Exports):
    """One of the files, as it lies on the disk. `file`: which, by its address."""

    resource = "history-export-file"
    says = {"GET": "Gives one file of an export that is done."}
    serializer = ExportSerializer
    parameters = (in_the_path("export", "The id of the export."),)
    file = ""

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:
        return super().perform_content_negotiation(request, force=True)

    def get(self, request: Request, export: int) -> FileResponse:
        self.asked().refuse()
        told = self.told(export)
        path = file_of(told, self.file)
        if path is None:
            raise Http404
        name = f"history-{told.scope.known}-export-{told.id}{path.suffix}"
        return FileResponse(path.open("rb"), as_attachment=True, filename=name, content_type=MEDIA_TYPES[self.file])
