"""Who may use the desk: kept apart from the derived tables, for it cannot be worked out again.

Secrets are kept as digests only: passwords by argon2id, session and upload keys by SHA-256 (they are 256 random bits, so a
slow hash adds nothing).
"""

from __future__ import annotations

from sqlalchemy import Double, ForeignKey, Index, Integer, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class PeopleBase(DeclarativeBase):
    """Made by `create_all`: three small tables."""


class Person(PeopleBase):
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
