"""The first tables"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "crews",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_crews")),
    )
    op.create_table(
        "kits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("hands", sa.JSON(), nullable=False),
        sa.Column("stamp", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["crew_id"], ["crews.id"], name=op.f("fk_kits_crew_id_crews"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kits")),
    )
    with op.batch_alter_table("kits", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_kits_crew_id"), ["crew_id"], unique=False)

    op.create_table(
        "venues",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("latitude", sa.Double(), nullable=True),
        sa.Column("longitude", sa.Double(), nullable=True),
        sa.Column("time_zone", sa.String(length=80), nullable=False),
        sa.CheckConstraint("latitude between -90 and 90", name=op.f("ck_venues_latitude")),
        sa.CheckConstraint("longitude between -180 and 180", name=op.f("ck_venues_longitude")),
        sa.ForeignKeyConstraint(["crew_id"], ["crews.id"], name=op.f("fk_venues_crew_id_crews"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_venues")),
    )
    with op.batch_alter_table("venues", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_venues_crew_id"), ["crew_id"], unique=False)

    op.create_table(
        "bodies",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("clicks_per_stop", sa.Integer(), nullable=False),
        sa.Column("iso_base", sa.JSON(), nullable=False),
        sa.Column("iso_allowed", sa.JSON(), nullable=False),
        sa.Column("iso_quiet", sa.Double(), nullable=True),
        sa.Column("shutters", sa.JSON(), nullable=False),
        sa.Column("built_in_nd", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["kit_id"], ["kits.id"], name=op.f("fk_bodies_kit_id_kits"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bodies")),
    )
    with op.batch_alter_table("bodies", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_bodies_kit_id"), ["kit_id"], unique=False)

    op.create_table(
        "filters",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("mount", sa.String(length=80), nullable=False),
        sa.Column("density", sa.Double(), nullable=False),
        sa.Column("width", sa.Double(), nullable=True),
        sa.Column("thread", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["kit_id"], ["kits.id"], name=op.f("fk_filters_kit_id_kits"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_filters")),
    )
    with op.batch_alter_table("filters", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_filters_kit_id"), ["kit_id"], unique=False)

    op.create_table(
        "holders",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("width", sa.Double(), nullable=False),
        sa.Column("slots", sa.Integer(), nullable=False),
        sa.Column("rings", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["kit_id"], ["kits.id"], name=op.f("fk_holders_kit_id_kits"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_holders")),
    )
    with op.batch_alter_table("holders", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_holders_kit_id"), ["kit_id"], unique=False)

    op.create_table(
        "lenses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("widest", sa.Double(), nullable=False),
        sa.Column("smallest", sa.Double(), nullable=False),
        sa.Column("thread", sa.Double(), nullable=True),
        sa.Column("loss_stops", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["kit_id"], ["kits.id"], name=op.f("fk_lenses_kit_id_kits"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lenses")),
    )
    with op.batch_alter_table("lenses", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lenses_kit_id"), ["kit_id"], unique=False)

    op.create_table(
        "places",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("venue_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("light", sa.String(length=80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["venue_id"], ["venues.id"], name=op.f("fk_places_venue_id_venues"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_places")),
    )
    with op.batch_alter_table("places", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_places_venue_id"), ["venue_id"], unique=False)

    op.create_table(
        "days",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("venue_id", sa.Integer(), nullable=False),
        sa.Column("kit_id", sa.Integer(), nullable=False),
        sa.Column("body_id", sa.Integer(), nullable=True),
        sa.Column("lens_id", sa.Integer(), nullable=True),
        sa.Column("holder_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("start", sa.JSON(), nullable=False),
        sa.Column("stamp", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["body_id"], ["bodies.id"], name=op.f("fk_days_body_id_bodies"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["crew_id"], ["crews.id"], name=op.f("fk_days_crew_id_crews"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["holder_id"], ["holders.id"], name=op.f("fk_days_holder_id_holders"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(["kit_id"], ["kits.id"], name=op.f("fk_days_kit_id_kits"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["lens_id"], ["lenses.id"], name=op.f("fk_days_lens_id_lenses"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["venue_id"], ["venues.id"], name=op.f("fk_days_venue_id_venues"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_days")),
    )
    with op.batch_alter_table("days", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_days_crew_id"), ["crew_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_days_kit_id"), ["kit_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_days_venue_id"), ["venue_id"], unique=False)

    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("kind", sa.String(length=80), nullable=False),
        sa.Column("raw", sa.JSON(), nullable=False),
        sa.Column("ev100", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["place_id"], ["places.id"], name=op.f("fk_readings_place_id_places"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index("ix_readings_place_taken", ["place_id", "taken_at"], unique=False)

    op.create_table(
        "day_places",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day_id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("wanted", sa.Double(), nullable=False),
        sa.Column("widest", sa.Double(), nullable=False),
        sa.Column("narrowest", sa.Double(), nullable=False),
        sa.Column("shutter", sa.Double(), nullable=False),
        sa.Column("tolerance", sa.Double(), nullable=False),
        sa.Column("rush_tolerance", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["day_id"], ["days.id"], name=op.f("fk_day_places_day_id_days"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["place_id"], ["places.id"], name=op.f("fk_day_places_place_id_places"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_day_places")),
        sa.UniqueConstraint("day_id", "place_id", name=op.f("uq_day_places_day_id")),
    )
    with op.batch_alter_table("day_places", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_places_day_id"), ["day_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_day_places_place_id"), ["place_id"], unique=False)

    op.create_table(
        "events",
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("day_id", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["day_id"], ["days.id"], name=op.f("fk_events_day_id_days"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_events")),
        sa.UniqueConstraint("day_id", "id", name="uq_events_day_event"),
    )
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_events_day_id"), ["day_id"], unique=False)

    # ### end Alembic commands ###


def downgrade() -> None:
    raise NotImplementedError("the book only goes forward; restore a backup instead")
