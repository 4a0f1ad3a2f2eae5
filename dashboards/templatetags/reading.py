"""Filters of the templates: how days, numbers and codes are written."""

import datetime as dt

from django import template

from dashboards.words import day_in_words, hold_in_words, words_of

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
def hold(reason: str) -> str:
    return hold_in_words(reason)
