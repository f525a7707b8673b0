"""How grave a finding is, what was found in words, whether a visit counts, and names folded for searching."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

FOLDED = ("site_folded", "cabinet_folded", "technician_folded", "found_folded")


def upgrade() -> None:
    with op.batch_alter_table("visits") as table:
        for name in ("found", *FOLDED):
            table.add_column(sa.Column(name, sa.Text(), nullable=False, server_default=""))
        table.add_column(sa.Column("on_site", sa.Double(), nullable=False, server_default="0"))
        table.add_column(sa.Column("standing", sa.String(length=12), nullable=False, server_default="good"))
        table.add_column(sa.Column("rank", sa.Integer(), nullable=False, server_default="99"))
    with op.batch_alter_table("findings") as table:
        table.add_column(sa.Column("level", sa.String(length=8), nullable=False, server_default="look"))
        table.add_column(sa.Column("rank", sa.Integer(), nullable=False, server_default="99"))
    with op.batch_alter_table("faults") as table:
        table.add_column(sa.Column("tells", sa.String(length=8), nullable=False, server_default="fault"))
    op.create_index("findings_by_rank", "findings", ["rank", "began"], postgresql_where=sa.text("NOT signed"),
                    sqlite_where=sa.text("NOT signed"))
    op.create_index("visits_by_outcome", "visits", ["outcome", "began"])
    op.create_index("visits_by_procedure", "visits", ["procedure", "began"])


def downgrade() -> None:
    raise NotImplementedError("The database is worked out from the visit folders: delete it, and it is built again.")
