"""Which devices a list is asked for, as an address gives it: the same words for page and interface."""

from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.queries.devices import DeviceFilter
from pmcore.queries.parameters import Parameters, a_number, a_word_of, some_words, yes_or_no

NAMES = ("words", "site", "area", "device_class", "device_model", "state", "held")


def devices_filter(asked: Parameters) -> DeviceFilter:
    """Reads `NAMES`; what is wrong with them gathers in `asked`."""
    return DeviceFilter(
        words=asked.one("words", some_words) or "",
        sites=asked.many("site", a_number),
        areas=asked.many("area", a_number),
        device_classes=asked.many("device_class", a_number),
        device_models=asked.many("device_model", a_number),
        states=asked.many("state", a_word_of(ServiceStateKind)),
        held=asked.one("held", yes_or_no),
    )
