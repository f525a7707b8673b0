"""What technicians did, rolled up; whose a finding is; the words of a record's head."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

#: An index of open findings.
OPEN: dict[str, Any] = {"postgresql_where": sa.text("NOT closed"), "sqlite_where": sa.text("closed = 0")}
#: As `rolls` has them.
FIRST = (
    "cabinet <> '' AND (since_last IS NULL OR since_last > 2592000) AND "
    "(outcome <> 'no fault found' OR until_next <= 2592000)"
)
FIXED = f"{FIRST} AND outcome IN ('fixed', 'done') AND trips = 1 AND (until_next IS NULL OR until_next > 2592000)"


def upgrade() -> None:
    for table, name in (("visits", "words"), ("findings", "technician")):
        with op.batch_alter_table(table) as batch:
            batch.add_column(sa.Column(name, sa.Text(), nullable=False, server_default=""))
    op.execute("UPDATE findings SET technician = (SELECT v.technician FROM visits v WHERE v.id = findings.visit_id)")
    for name in ("findings_by_rank", "findings_open"):
        op.drop_index(name, "findings")
    op.create_index("findings_by_rank", "findings", ["rank", sa.text("began DESC"), "n"], **OPEN)
    op.create_index("findings_open", "findings", ["began"], **OPEN)
    op.create_index("findings_open_of", "findings", ["technician"], **OPEN)
    op.create_index("visits_by_rank", "visits", ["rank", sa.text("began DESC"), sa.text("id DESC")])
    counts = ("visits", "firsts", "fixed", "returns", "heard", "again")
    op.create_table(
        "roll_technicians", sa.Column("block", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("technician", sa.Text(), primary_key=True),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in counts),
        sa.Column("seconds", sa.Double(), nullable=False), sa.Column("last", sa.Integer(), nullable=False),
    )  # fmt: skip
    sums = ", ".join(f"SUM(CASE WHEN {of} THEN 1 ELSE 0 END)" for of in (FIRST, FIXED, "since_last <= 2592000"))
    op.execute(
        f"INSERT INTO roll_technicians (block, technician, {', '.join(counts)}, seconds, last) "
        f"SELECT day / 30, technician, COUNT(*), {sums}, SUM(heard), SUM(again), SUM(on_site), MAX(day) FROM visits "
        "WHERE standing = 'good' GROUP BY day / 30, technician"
    )


def downgrade() -> None:
    raise NotImplementedError("The database is worked out from the visit folders: delete it, and it is built again.")
