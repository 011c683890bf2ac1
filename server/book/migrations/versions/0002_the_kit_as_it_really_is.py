"""The kit as it really is: every kind of glass, rings, zooms, frame rates; and looks that wear glass of their own"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("kits") as kits:
        kits.add_column(sa.Column("step_ups", sa.JSON(), nullable=False, server_default="[]"))
    with op.batch_alter_table("bodies") as bodies:
        bodies.add_column(sa.Column("frame_rate", sa.Double(), nullable=True))
        bodies.add_column(sa.Column("format", sa.String(length=80), nullable=True))
    with op.batch_alter_table("lenses") as lenses:
        lenses.add_column(sa.Column("widest_long", sa.Double(), nullable=True))
        lenses.add_column(sa.Column("focal_mm", sa.Double(), nullable=True))
        lenses.add_column(sa.Column("focal_long_mm", sa.Double(), nullable=True))
    with op.batch_alter_table("holders") as holders:
        holders.add_column(sa.Column("front", sa.Double(), nullable=True))
    with op.batch_alter_table("filters") as filters:
        filters.add_column(sa.Column("kind", sa.String(length=80), nullable=False, server_default="nd"))
        filters.add_column(sa.Column("engraved", sa.String(length=80), nullable=False, server_default=""))
        filters.add_column(sa.Column("density_to", sa.Double(), nullable=True))
        filters.add_column(sa.Column("measured", sa.Double(), nullable=True))
        filters.add_column(sa.Column("measured_spread", sa.Double(), nullable=True))
        filters.add_column(sa.Column("edge", sa.String(length=80), nullable=True))
    with op.batch_alter_table("day_places") as places:
        places.add_column(sa.Column("worn", sa.JSON(), nullable=False, server_default="[]"))
        places.add_column(sa.Column("long_end", sa.Boolean(), nullable=False, server_default=sa.false()))
        places.add_column(sa.Column("distance_m", sa.Double(), nullable=True))
