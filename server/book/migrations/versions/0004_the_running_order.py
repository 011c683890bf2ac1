"""The running order of a day"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "stops",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day_id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=36), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("second", sa.Boolean(), nullable=False),
        sa.Column("lasts", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("lens_id", sa.Integer(), nullable=True),
        sa.Column("wanted", sa.Double(), nullable=True),
        sa.Column("widest", sa.Double(), nullable=True),
        sa.Column("narrowest", sa.Double(), nullable=True),
        sa.Column("notes", sa.String(length=500), nullable=False),
        sa.ForeignKeyConstraint(["day_id"], ["days.id"], name="fk_stops_day_id_days", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["place_id"], ["places.id"], name="fk_stops_place_id_places", ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["lens_id"], ["lenses.id"], name="fk_stops_lens_id_lenses", ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id", name="pk_stops"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_stops_day_id", "stops", ["day_id"])
    op.create_index("ix_stops_place_id", "stops", ["place_id"])
    op.create_index("ix_stops_lens_id", "stops", ["lens_id"])
