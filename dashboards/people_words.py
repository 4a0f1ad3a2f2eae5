"""Accounts and tokens as sentences."""

import datetime as dt
from collections.abc import Collection, Sequence

from django.utils.text import capfirst

from dashboards.words import day_in_words, in_words, words_of
from pmcore.engines.vocabulary import Role
from pmcore.queries.people_page import AccountListed
from pmcore.queries.tokens_page import TokenListed, TokenState

ROLES = {
    Role.MANAGER: "manager: answers for compliance and reliability",
    Role.SCHEDULER: "scheduler: gives out the work",
    Role.TECHNICIAN: "technician: inspects and repairs",
    Role.AUDITOR: "auditor: reads and exports, changes nothing",
    Role.CLINICAL_LEAD: "clinical lead: reports faults, sees what is ready",
    Role.PROVIDER: "provider: outside technician, sees own work only",
    Role.ADMINISTRATOR: "administrator: accounts, tokens and settings",
}
NO_ROLE = "none"
_ABLE = ("can sign in", "good")

_STATES = {
    TokenState.GOOD: "good",
    TokenState.TAKEN_BACK: "taken back",
    TokenState.EXPIRED: "expired",
    TokenState.ACCOUNT_OFF: "account switched off",
    TokenState.NO_ROLE: "account without a role",
}


def listed_in_words(names: Sequence[str]) -> str:
    """`A, B and C`."""
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def people_headline(accounts: Collection[AccountListed]) -> str:
    """What matters: how many can work, and which accounts can do nothing."""
    able = sum(state_of(each) == _ABLE for each in accounts)
    idle = sum(each.is_active and each.role is None for each in accounts)
    said = f"{_begin(able)} {'person' if able == 1 else 'people'} can sign in"
    if not idle:
        return f"{said}."
    return f"{said}; {in_words(idle)} {_has_no_role(idle)}."


def _has_no_role(count: int) -> str:
    if count == 1:
        return "account has no role, so it can do nothing"
    return "accounts have no role, so they can do nothing"


def people_second(accounts: Collection[AccountListed]) -> str:
    off = sum(not each.is_active for each in accounts)
    lonely = sum(state_of(each) == _ABLE for each in accounts if each.role == Role.ADMINISTRATOR) == 1
    said = []
    if off:
        said.append(f"{_begin(off)} {'account is' if off == 1 else 'accounts are'} switched off.")
    if lonely:
        said.append("There is one administrator only: a second one could let the first one in again.")
    return " ".join(said) or "Nobody signs up by themselves: an administrator makes each account."


def called(account: AccountListed) -> str:
    return account.name or account.username


def acts_as(account: AccountListed) -> str:
    """`Technician at Alderwick General and Stennet Point`; where nothing can be done, why."""
    if account.person is None:
        return "Nobody of the record"
    if account.role is None:
        return "No role"
    return f"{capfirst(words_of(account.role))} {_where(account)}"


def _where(account: AccountListed) -> str:
    return f"at {listed_in_words([site.name for site in account.sites])}" if account.sites else "at no site"


def person_headline(account: AccountListed) -> str:
    name = called(account)
    if not account.is_active:
        return f"The account of {name} is switched off: nobody signs in by it."
    if account.role is None:
        return f"{name} has no role, so this account can do nothing."
    role = words_of(account.role)
    return f"{name} is {'an' if role[0] in 'aeiou' else 'a'} {role} {_where(account)}."


def later(account: AccountListed, on: dt.date) -> list[str]:
    """What changes on later days."""
    roles = [(each.from_on, _role_word(each.role)) for each in account.roles if each.from_on > on]
    sites = [(day, f"{'' if member else 'no longer '}at {site.name}") for day, site, member in account.later_sites]
    return [f"From {day_in_words(day)}: {word}." for day, word in sorted(roles + sites)]


def role_history(account: AccountListed) -> list[str]:
    """The newest first."""
    return [f"From {day_in_words(each.from_on)}: {_role_word(each.role)}." for each in reversed(account.roles)]


def _role_word(role: Role | None) -> str:
    return "no role" if role is None else words_of(role)


def state_of(account: AccountListed) -> tuple[str, str]:
    """The state as a word, and the pattern of its line."""
    if not account.is_active:
        return "switched off", "off"
    if account.role is None:
        return "can do nothing", "idle"
    if not account.has_password:
        return "no password", "idle"
    return _ABLE


def signed_in(last: dt.datetime | None) -> str:
    return "Never signed in" if last is None else f"Signed in last on {day_in_words(last.date())}"


# Tokens


def tokens_headline(tokens: Collection[TokenListed]) -> str:
    good = [each for each in tokens if each.state is TokenState.GOOD]
    if not tokens:
        return "There is no token: nobody asks the interface without signing in."
    if not good:
        return "No token opens anything any more."
    said = f"{_begin(len(good))} {'token opens' if len(good) == 1 else 'tokens open'} the interface"
    writing = sum(not each.read_only for each in good)
    if not writing:
        return f"{said}, and none of them changes anything." if len(good) > 1 else f"{said} and changes nothing."
    if writing == len(good):
        return f"{said} and {'does' if writing == 1 else 'do'} all that {_its(writing)} may."
    return f"{said}; {in_words(writing)} of them may change what {_its(writing)} may."


def _its(count: int) -> str:
    return "its account" if count == 1 else "their accounts"


def tokens_second(tokens: Collection[TokenListed]) -> str:
    endless = sum(each.state is TokenState.GOOD and each.expires_at is None for each in tokens)
    if not endless:
        return "Each is shown once, when it is made; only its hash is kept."
    ends = "One of them has no end" if endless == 1 else f"{_begin(endless)} of them have no end"
    return f"{ends} and is good until it is taken back." if endless == 1 else f"{ends} and are good until taken back."


def token_state(token: TokenListed) -> tuple[str, str]:
    return _STATES[token.state], "good" if token.state is TokenState.GOOD else "off"


def narrowed_to(token: TokenListed) -> str:
    """`Read-only, at Alderwick General, for days from 1 January 2026 to 31 October 2026.`"""
    if not token.read_only:
        return "May do all that its account may."
    said = ["Read-only", "at all sites of its account" if token.sites is None else f"at {listed_in_words(token.sites)}"]
    if token.from_on or token.to_on:
        begins = f" from {day_in_words(token.from_on)}" if token.from_on else ""
        ends = f" up to {day_in_words(token.to_on)}" if token.to_on else ""
        said.append(f"for days{begins}{ends}")
    return f"{', '.join(said)}."


def lifetime(token: TokenListed) -> str:
    made = f"Made on {day_in_words(token.made_at.date())}"
    if token.revoked_at is not None:
        return f"{made}, taken back on {day_in_words(token.revoked_at.date())}."
    if token.expires_at is None:
        return f"{made}, good until it is taken back."
    until = "was good until" if token.state is TokenState.EXPIRED else "good until"
    return f"{made}, {until} {day_in_words(token.expires_at.date())}."


def last_used(token: TokenListed) -> str:
    if not token.read_only:
        return "Its use is not recorded."
    return "Not used yet." if token.last_used_on is None else f"Used last on {day_in_words(token.last_used_on)}."


def _begin(count: int) -> str:
    return capfirst(in_words(count))
