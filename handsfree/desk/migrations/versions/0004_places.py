"""Cabinets by what they are, whatever they were called; returns to them rolled up."""

import sqlalchemy as sa
from alembic import op

from handsfree.desk.tables import RETURNED, RollPlace

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "places", sa.Column("id", sa.Integer(), primary_key=True), sa.Column("site", sa.Text(), nullable=False),
        sa.Column("cabinet", sa.Text(), nullable=False), sa.Column("one", sa.Integer(), nullable=False),
    )  # fmt: skip
    with op.batch_alter_table("visits") as table:
        table.add_column(sa.Column("place", sa.Integer(), nullable=False, server_default="0"))
    op.execute("INSERT INTO places (site, cabinet, one) SELECT DISTINCT site, cabinet, 0 FROM visits WHERE cabinet <> ''")
    op.execute("UPDATE places SET one = id")
    op.create_index("places_by_name", "places", ["site", "cabinet"], unique=True)
    op.create_index("places_that_are_one", "places", ["one"])
    op.execute(
        "UPDATE visits SET place = COALESCE((SELECT p.id FROM places p WHERE p.site = visits.site AND "
        "p.cabinet = visits.cabinet), 0)"
    )
    op.create_index("visits_by_place", "visits", ["place", "began"])
    where = sa.text(RETURNED)
    op.create_index("visits_returned", "visits", ["day", "place"], postgresql_where=where, sqlite_where=where)
    counts = [column.name for column in RollPlace.__table__.columns if column.name not in ("span", "place")]
    op.create_table(
        "roll_places", sa.Column("span", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("place", sa.Integer(), primary_key=True, autoincrement=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in counts),
    )  # fmt: skip
    sums = ", ".join(f"SUM(CASE WHEN day / 30 % 12 = {n} THEN 1 ELSE 0 END)" for n in range(12))
    op.execute(
        f"INSERT INTO roll_places (span, place, {', '.join(counts)}) SELECT day / 360, place, COUNT(*), {sums} FROM visits "
        f"WHERE {RETURNED} AND place <> 0 GROUP BY day / 360, place"
    )


def downgrade() -> None:
    raise NotImplementedError("The database is worked out from the visit folders: delete it, and it is built again.")
