"""Two shooters, and who may come in"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("joined_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("role in ('lead', 'second', 'guest')", name=op.f("ck_people_role")),
        sa.ForeignKeyConstraint(["crew_id"], ["crews.id"], name="fk_people_crew_id_crews", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_people"),
    )
    op.create_index("ix_people_crew_id", "people", ["crew_id"])
    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("device", sa.String(length=80), nullable=False),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_sessions_person_id_people", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_sessions"),
        sa.UniqueConstraint("hash", name="uq_sessions_hash"),
    )
    op.create_index("ix_sessions_person_id", "sessions", ["person_id"])
    op.create_table(
        "invites",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("made_by", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("uses_left", sa.Integer(), nullable=False),
        sa.CheckConstraint("role in ('lead', 'second', 'guest')", name=op.f("ck_invites_role")),
        sa.ForeignKeyConstraint(["crew_id"], ["crews.id"], name="fk_invites_crew_id_crews", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_invites_person_id_people", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_invites"),
        sa.UniqueConstraint("hash", name="uq_invites_hash"),
    )
    op.create_index("ix_invites_crew_id", "invites", ["crew_id"])
    op.create_index("ix_invites_person_id", "invites", ["person_id"])
    op.create_table(
        "pairing_codes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["people.id"], name="fk_pairing_codes_person_id_people", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_pairing_codes"),
        sa.UniqueConstraint("hash", name="uq_pairing_codes_hash"),
    )
    op.create_index("ix_pairing_codes_person_id", "pairing_codes", ["person_id"])
    op.create_table(
        "cameras",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("kit_id", sa.Integer(), nullable=False),
        sa.Column("body_id", sa.Integer(), nullable=True),
        sa.Column("lens_id", sa.Integer(), nullable=True),
        sa.Column("holder_id", sa.Integer(), nullable=True),
        sa.Column("matches", sa.String(length=10), nullable=False),
        sa.Column("start", sa.JSON(), nullable=False),
        sa.CheckConstraint("matches in ('field', 'blur', 'own')", name=op.f("ck_cameras_matches")),
        sa.ForeignKeyConstraint(["day_id"], ["days.id"], name="fk_cameras_day_id_days", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["person_id"], ["people.id"], name="fk_cameras_person_id_people", ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["kit_id"], ["kits.id"], name="fk_cameras_kit_id_kits", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["body_id"], ["bodies.id"], name="fk_cameras_body_id_bodies", ondelete="SET NULL"),
        sa.ForeignKeyConstraint(["lens_id"], ["lenses.id"], name="fk_cameras_lens_id_lenses", ondelete="SET NULL"),
        sa.ForeignKeyConstraint(
            ["holder_id"], ["holders.id"], name="fk_cameras_holder_id_holders", ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_cameras"),
        sa.UniqueConstraint("day_id", "person_id", name="uq_cameras_day_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_cameras_day_id", "cameras", ["day_id"])
    op.create_index("ix_cameras_person_id", "cameras", ["person_id"])
    op.create_index("ix_cameras_kit_id", "cameras", ["kit_id"])
    op.create_table(
        "links",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day_id", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("exact", sa.Boolean(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("made_by", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("said", sa.String(length=64), nullable=False),
        sa.Column("said_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind in ('sheet', 'calendar')", name=op.f("ck_links_kind")),
        sa.ForeignKeyConstraint(["day_id"], ["days.id"], name="fk_links_day_id_days", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_links"),
        sa.UniqueConstraint("hash", name="uq_links_hash"),
    )
    op.create_index("ix_links_day_id", "links", ["day_id"])
    op.add_column("events", sa.Column("camera", sa.Integer(), nullable=True))
    # A crew and a day can be removed from here on; their numbers are not given out again, as PostgreSQL never does.
    for table in ("crews", "days") if op.get_bind().dialect.name == "sqlite" else ():
        with op.batch_alter_table(table, recreate="always", table_kwargs={"sqlite_autoincrement": True}):
            pass
