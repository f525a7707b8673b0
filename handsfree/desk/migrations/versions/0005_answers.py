"""Answers that were given when the desk's question was put on a visit."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "spoken_answers",
        sa.Column("visit_id", ID, sa.ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("n", sa.Integer(), primary_key=True), sa.Column("key", sa.String(64), nullable=False),
    )  # fmt: skip
    op.create_index("spoken_answers_by_finding", "spoken_answers", ["key"])


def downgrade() -> None:
    raise NotImplementedError("The database is worked out from the visit folders: delete it, and it is built again.")
