"""Light that moves: what a place's drift needs, the sky of a reading, the mains of a venue, the hour a day is seen at"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("venues") as venues:
        venues.add_column(sa.Column("mains", sa.Integer(), nullable=True))
        venues.create_check_constraint("mains", "mains in (50, 60)")
    with op.batch_alter_table("places") as places:
        places.add_column(sa.Column("lit_from", sa.String(length=80), nullable=False, server_default="side"))
        places.add_column(sa.Column("faces", sa.Double(), nullable=True))
        for name in ("lamps", "sun_over", "sun_behind"):
            places.add_column(sa.Column(name, sa.Double(), nullable=False, server_default="0"))
        places.add_column(sa.Column("lasers", sa.Boolean(), nullable=False, server_default=sa.false()))
    with op.batch_alter_table("readings") as readings:
        readings.add_column(sa.Column("logged_at", sa.DateTime(timezone=True), nullable=True))
        readings.add_column(sa.Column("sky", sa.String(length=80), nullable=True))
        readings.add_column(sa.Column("part", sa.String(length=80), nullable=False, server_default="face"))
    with op.batch_alter_table("days") as days:
        days.add_column(sa.Column("seen_at", sa.String(length=5), nullable=False, server_default="14:00"))
        days.add_column(sa.Column("steady", sa.Boolean(), nullable=False, server_default=sa.false()))
