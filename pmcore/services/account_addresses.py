"""The address of whoever has an account: letters go there, and one can sign in by it."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.models import Account, PersonDetails
from pmcore.models.rows import Row
from pmcore.services.account_roles import AlreadySo, person_of, say_anew
from pmcore.services.accounts import BadAccount, check_address
from pmcore.services.permissions import use_case
from pmcore.services.requests import Receipt, Request


@use_case("give an address", "person_described")
def change_address(
    *, account: int, email: str, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """Another address for the person of the account, an empty one for none. In the record it counts from the day on;
    one signs in by it at once. What was said for the same day before is put right by it.

    Raises UnknownAccount, BadAccount, AddressTaken, AlreadySo, NotAllowed.
    """
    person = person_of(account)
    if email:
        check_address(email, of=account)
    facts = PersonDetails.objects.current().filter(person=person)
    # Where they are told of from a later day on only, as in zones whose day is behind, it counts from there.
    from_on = max(from_on, facts.earliest("from_on").from_on)
    name, said, provider = facts.on(from_on).values_list("name__words", "email__words", "provider").get()
    if (said or "") == email and Account.objects.filter(pk=account, email=email).exists():
        raise AlreadySo("That is the address already.")
    if name is None:
        raise BadAccount("The name of this person was taken out of the record: nothing more is said of them.", "email")
    row = Row(PersonDetails, person=person, from_on=from_on, name=name, email=email or None, provider=provider)
    wrong = list(facts.filter(from_on=from_on))
    receipt = say_anew("person_described", person, [row], wrong, actor=actor, at=at, request=request)
    Account.objects.filter(pk=account).update(email=email)
    return receipt
