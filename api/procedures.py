"""Procedures, and one with its versions and steps."""

from api.documented import WHEN, in_the_path
from api.serializers import serializer_of
from api.views import Found, ListView, OneView, When
from pmcore.queries.parameters import Parameters
from pmcore.queries.procedure_pages import ProcedureInFull, ProcedureRecord, one_procedure, procedures_page


class Procedures(ListView):
    resource = "procedures"
    says = {"GET": "Lists the procedures with the version that is in use on a day."}
    serializer = serializer_of(ProcedureRecord)

    def read(self, asked: Parameters) -> None:
        """There is nothing to choose."""

    def page(self, chosen: None, when: When, after: int | None, limit: int) -> Found:
        found = procedures_page(as_of=when.as_of, known=when.known, after=after, limit=limit)
        return found.records, found.after


class Procedure(OneView):
    resource = "procedure"
    says = {"GET": "Tells of one procedure all versions with their approval, cautions and steps."}
    serializer = serializer_of(ProcedureInFull)
    parameters = (in_the_path("procedure", "The procedure's id."), *WHEN)

    def find(self, when: When, **key: int) -> ProcedureInFull | None:
        return one_procedure(key["procedure"], as_of=when.as_of, known=when.known)
