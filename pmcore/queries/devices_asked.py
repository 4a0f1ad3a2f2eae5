"""Which devices a list is asked for, as an address gives it: the same words for page and interface."""

from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.queries.devices import DevicesFilter
from pmcore.queries.parameters import Parameters, a_number, a_word_of, some_words, yes_or_no

NAMES = ("words", "site", "area", "device_class", "device_model", "service_state", "left")


def devices_filter(asked: Parameters) -> DevicesFilter:
    """Reads `NAMES`; what is wrong with them gathers in `asked`."""
    return DevicesFilter(
        words=asked.one("words", some_words) or "",
        sites=asked.many("site", a_number),
        areas=asked.many("area", a_number),
        device_classes=asked.many("device_class", a_number),
        device_models=asked.many("device_model", a_number),
        service_states=asked.many("service_state", a_word_of(ServiceStateKind)),
        left=asked.one("left", yes_or_no) or False,
    )
