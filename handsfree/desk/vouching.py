"""Finds the account of somebody for whom a provider vouches."""

from __future__ import annotations

from sqlalchemy import Engine, select, update

from handsfree.desk import security_log
from handsfree.desk.people_tables import Elsewhere
from handsfree.desk.signon import Vouched
from handsfree.errors import Trouble


def signed_in_elsewhere(engine: Engine, found: Vouched) -> int:
    """Whose account it is. Trouble if it belongs to nobody here."""
    with engine.begin() as connection:
        known = select(Elsewhere.person_id).where(Elsewhere.issuer == found.issuer, Elsewhere.subject == found.subject)
        person = connection.scalar(known)
        if person is None and found.mail:
            new = (Elsewhere.mail == found.mail.casefold(), Elsewhere.subject == "")
            person = connection.scalar(select(Elsewhere.person_id).where(*new))
            bound = {"issuer": found.issuer, "subject": found.subject}
            if person is not None:
                connection.execute(update(Elsewhere).where(Elsewhere.person_id == person, *new).values(**bound))
    security_log.note("vouched for elsewhere" if person is not None else "vouched for elsewhere, and nobody here")
    if person is None:
        raise Trouble("You have no account at this desk. Its operator can make one: 'handsfree desk people-add --mail'.")
    return int(person)
