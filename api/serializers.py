"""Serializers from the queries' dataclasses, so that nothing is written twice."""

from typing import Any

from rest_framework import serializers
from rest_framework_dataclasses.serializers import DataclassSerializer

from pmcore.engines.compliance import Share


class RecordSerializer(DataclassSerializer):
    """Of a frozen dataclass and those in it."""

    @property
    def serializer_dataclass_field(self) -> Any:
        return RecordSerializer

    def build_dataclass_field(self, field_name: str, type_info: Any) -> Any:
        if type_info.base_type is Share:
            return ShareSerializer, {}
        return super().build_dataclass_field(field_name, type_info)


class ShareSerializer(RecordSerializer):
    """`percent`: one decimal, null where there is nothing to divide by; `written`: as a person reads it."""

    percent = serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True, read_only=True)
    written = serializers.CharField(source="__str__", read_only=True)

    class Meta:
        dataclass = Share
        fields = ("numerator", "denominator", "percent", "written")


def serializer_of(record: type[Any]) -> Any:
    """The serializer of a dataclass."""
    meta = type("Meta", (), {"dataclass": record})
    return type(f"{record.__name__}Serializer", (RecordSerializer,), {"Meta": meta, "__doc__": record.__doc__})
