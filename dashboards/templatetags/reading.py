"""Filters of the templates: how days, numbers and codes are written."""

import datetime as dt

from django import template

from dashboards.words import day_in_words, held_in_words, minutes_in_words, not_done_in_words, short_day, words_of
from pmcore.queries.due_list import DueItem

register = template.Library()


@register.filter
def day(value: dt.date | None) -> str:
    return "" if value is None else day_in_words(value)


@register.filter
def words(code: str) -> str:
    return words_of(code)


@register.filter
def count(value: int) -> str:
    """With a comma between the thousands."""
    return f"{value:,}"


@register.filter
def weekday(value: dt.date) -> str:
    """With its weekday before it."""
    return day_in_words(value, weekday=True)


@register.filter
def shortday(value: dt.date) -> str:
    return short_day(value)


@register.filter
def daymonth(value: dt.date) -> str:
    """`31 Oct`."""
    return short_day(value).partition(" ")[2]


@register.filter
def minutes(value: int) -> str:
    return minutes_in_words(value)


@register.filter
def notdone(row: DueItem) -> str:
    return not_done_in_words(row)


@register.filter
def held(reason: str) -> str:
    return held_in_words(reason)
