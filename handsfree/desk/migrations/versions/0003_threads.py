"""Threads of what was done about findings, more of each visit, and figures rolled up by day."""

import sqlalchemy as sa
from alembic import op

from handsfree.desk.tables import folded

revision = "0003"
down_revision = "0002"

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _text(name: str, length: int | None = None) -> sa.Column[str]:
    return sa.Column(name, sa.String(length) if length else sa.Text(), nullable=False, server_default="")


def upgrade() -> None:
    for index in ("findings_by_rank", "findings_open"):
        op.drop_index(index, "findings")
    with op.batch_alter_table("findings") as table:
        table.alter_column("signed", new_column_name="closed")
    op.create_index("findings_by_rank", "findings", ["rank", "began"], postgresql_where=sa.text("NOT closed"),
                    sqlite_where=sa.text("NOT closed"))
    op.create_index("findings_open", "findings", ["began"], postgresql_where=sa.text("NOT closed"),
                    sqlite_where=sa.text("NOT closed"))
    with op.batch_alter_table("visits") as table:
        for column in (_text("complaint"), _text("version", 40), _text("parts")):
            table.add_column(column)
        for name in ("heard", "again", "day"):
            table.add_column(sa.Column(name, sa.Integer(), nullable=False, server_default="0"))
        for name in ("since_last", "until_next"):
            table.add_column(sa.Column(name, sa.Double(), nullable=True))
    op.create_index("visits_by_day", "visits", ["day"])
    _sayings()
    _threads()
    _rolls()


def _sayings() -> None:
    """Words are found whatever their accents, in PostgreSQL, too; SQLite's own index does so already."""
    op.add_column("sayings", _text("folded"))
    bind = op.get_bind()
    some = sa.table("sayings", sa.column("id", ID), sa.column("text", sa.Text()), sa.column("folded", sa.Text()))
    for row in bind.execute(sa.select(some.c.id, some.c.text)).all():
        bind.execute(sa.update(some).where(some.c.id == row.id).values(folded=folded(row.text)))
    if bind.dialect.name == "postgresql":
        op.execute("DROP INDEX sayings_words")
        op.execute("CREATE INDEX sayings_words ON sayings USING gin (to_tsvector('simple', folded))")


def _threads() -> None:
    op.drop_table("sign_offs")
    op.create_table(
        "threads", sa.Column("key", sa.String(64), primary_key=True), _text("visit", 255), _text("state", 20),
        sa.Column("closed", sa.Boolean(), nullable=False), _text("assigned"), _text("asked"), _text("due", 10),
        _text("by"), _text("comment"), _text("wall", 40), _text("device"),
    )  # fmt: skip
    op.create_index("threads_by_assigned", "threads", ["assigned"])
    op.create_index("threads_by_asked", "threads", ["asked"])
    op.create_table(
        "acts", sa.Column("id", ID, primary_key=True), sa.Column("n", sa.Integer(), nullable=True), _text("key", 64),
        _text("visit", 255), _text("what", 20), _text("by"), _text("text"), _text("to"), _text("due", 10),
        _text("wall", 40), sa.Column("at", sa.Double(), nullable=False), _text("device"), _text("spoken", 255),
        sa.Column("spoken_n", sa.Integer(), nullable=False, server_default="0"),
    )  # fmt: skip
    op.create_index("acts_of_finding", "acts", ["key", "at"])
    op.create_index("acts_by_what", "acts", ["what", "at"])


def _rolls() -> None:
    counts = ("visits", "single", "firsts", "fixed", "returns", "heard", "again")
    op.create_table(
        "roll_days", sa.Column("day", sa.Integer(), primary_key=True), sa.Column("procedure", sa.Text(), primary_key=True),
        sa.Column("version", sa.String(40), primary_key=True), sa.Column("outcome", sa.Text(), primary_key=True),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in counts),
        sa.Column("seconds", sa.Double(), nullable=False),
    )  # fmt: skip
    op.create_table(
        "roll_steps", sa.Column("day", sa.Integer(), primary_key=True), sa.Column("procedure", sa.Text(), primary_key=True),
        sa.Column("step", sa.Text(), primary_key=True),
        *(sa.Column(name, sa.Integer(), nullable=False)
          for name in ("stays", "visits", "heard", "again", "repeated", "back", "stood_by")),
        sa.Column("seconds", sa.Double(), nullable=False),
    )  # fmt: skip


def downgrade() -> None:
    raise NotImplementedError("The database is worked out from the visit folders: delete it, and it is built again.")
