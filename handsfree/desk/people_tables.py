"""Who may use the desk: kept apart from the derived tables, because it cannot be worked out again.

Secrets are kept as digests only: passwords by argon2id, session and upload keys by SHA-256 (they are 256 random bits, so a
slow hash adds nothing).
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Double, ForeignKey, Index, Integer, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class PeopleBase(DeclarativeBase):
    """Made by `create_all`: small tables. An existing table is never altered: additions get their own table."""


class User(PeopleBase):
    """`role`: technician, supervisor, writer, device. `team`: '*' for a supervisor of all. `technician`: the name as the
    records have it. `password`: argon2id, '' for a device."""

    __tablename__ = "people"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str] = mapped_column(String(100), unique=True)
    role: Mapped[str] = mapped_column(String(20))
    team: Mapped[str] = mapped_column(String(100))
    technician: Mapped[str] = mapped_column(Text)
    password: Mapped[str] = mapped_column(Text)
    upload_key: Mapped[str] = mapped_column(String(64))


class SessionRow(PeopleBase):
    __tablename__ = "desk_sessions"

    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"))
    made: Mapped[float] = mapped_column(Double)
    seen: Mapped[float] = mapped_column(Double)


class Attempt(PeopleBase):
    """A sign-in that failed. `of`: the name or the address it is counted against."""

    __tablename__ = "attempts"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    of: Mapped[str] = mapped_column(String(160))
    at: Mapped[float] = mapped_column(Double)
    __table_args__ = (Index("attempts_of", "of", "at"),)


class SavedSearch(PeopleBase):
    """A list that a person keeps. `person_id`: 0 for whoever is at a desk without accounts. `address`: of the page."""

    __tablename__ = "saved_searches"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    person_id: Mapped[int] = mapped_column(Integer, index=True)
    name: Mapped[str] = mapped_column(String(60))
    address: Mapped[str] = mapped_column(Text)


class TeamRow(PeopleBase):
    """Which region a team belongs to."""

    __tablename__ = "teams"

    team: Mapped[str] = mapped_column(String(100), primary_key=True)
    region: Mapped[str] = mapped_column(String(100))


class DeviceSeen(PeopleBase):
    """What is known about a sending device: seconds of the epoch when it was last heard from, and when its last visit was
    stored; `waiting`: how many visits wait on it, as it reports, -1 if it does not say."""

    __tablename__ = "devices_seen"

    person_id: Mapped[int] = mapped_column(Integer, primary_key=True)
    seen: Mapped[float] = mapped_column(Double)
    stored: Mapped[float | None] = mapped_column(Double)
    waiting: Mapped[int] = mapped_column(Integer)


class SecondFactor(PeopleBase):
    """A secret for time-based codes (RFC 6238). `confirmed`: a first code was right, and codes are asked for from then on;
    `used`: the time step of the last code used, since each is used once."""

    __tablename__ = "second_factors"

    person_id: Mapped[int] = mapped_column(Integer, primary_key=True)
    secret: Mapped[str] = mapped_column(String(64))
    confirmed: Mapped[int] = mapped_column(Integer)
    used: Mapped[int] = mapped_column(Integer)


class SecurityKey(PeopleBase):
    """A security key (WebAuthn): its credential as the `fido2` package writes it, URL-safe base 64. `used`: its counter when
    it was used last."""

    __tablename__ = "security_keys"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    person_id: Mapped[int] = mapped_column(Integer, index=True)
    name: Mapped[str] = mapped_column(String(60))
    credential: Mapped[str] = mapped_column(Text)
    used: Mapped[int] = mapped_column(BigInteger)
    made: Mapped[float] = mapped_column(Double)


class KeyChallenge(PeopleBase):
    """What a security key must answer. `of`: an account, or the digest of a waiting sign-in; `state`: of the `fido2`
    package, JSON."""

    __tablename__ = "key_challenges"

    of: Mapped[str] = mapped_column(String(80), primary_key=True)
    state: Mapped[str] = mapped_column(Text)
    at: Mapped[float] = mapped_column(Double)


class PendingSignIn(PeopleBase):
    """A sign-in whose password was right and whose code is still to come."""

    __tablename__ = "pending_sign_ins"

    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int] = mapped_column(Integer)
    at: Mapped[float] = mapped_column(Double)
    tries: Mapped[int] = mapped_column(Integer)


class Elsewhere(PeopleBase):
    """People who sign in by OpenID Connect: `mail` is what the provider must vouch for the first time; from then on
    `issuer` and `subject` count, '' until then."""

    __tablename__ = "elsewhere"

    person_id: Mapped[int] = mapped_column(Integer, primary_key=True)
    mail: Mapped[str] = mapped_column(String(200))
    issuer: Mapped[str] = mapped_column(String(300))
    subject: Mapped[str] = mapped_column(String(300))


class BegunElsewhere(PeopleBase):
    """A sign-in begun at a provider. `digest`: of its cookie; `kept`: what the answer must fit, JSON; `at`: seconds of the
    epoch."""

    __tablename__ = "begun_elsewhere"

    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    kept: Mapped[str] = mapped_column(Text)
    at: Mapped[float] = mapped_column(Double)


class RegistryEntry(PeopleBase):
    """A site, a cabinet, a person or a device as the firm knows it: its own `id`, whatever it is called today (`name`).
    `kind`: of `registry.KINDS`."""

    __tablename__ = "known_things"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    kind: Mapped[str] = mapped_column(String(12), index=True)
    name: Mapped[str] = mapped_column(Text)
    team: Mapped[str] = mapped_column(String(100))


class KnownName(PeopleBase):
    """A name that records have for a known thing. `under`: for a cabinet, its site as in the records; else ''."""

    __tablename__ = "known_names"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    thing_id: Mapped[int] = mapped_column(ForeignKey("known_things.id", ondelete="CASCADE"))
    kind: Mapped[str] = mapped_column(String(12))
    under: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    __table_args__ = (Index("known_by_name", "kind", "name", "under"),)
