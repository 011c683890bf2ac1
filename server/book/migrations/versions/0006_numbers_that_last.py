"""
Whole numbers of 64 bits in PostgreSQL, where a million crews would use up those of 32 in some weeks of taps.

SQLite's are of 64 bits as they are.
"""

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

KEYS = {
    "crews": "id", "people": "id", "sessions": "id", "invites": "id", "pairing_codes": "id", "kits": "id",
    "bodies": "id", "lenses": "id", "holders": "id", "filters": "id", "venues": "id", "places": "id", "readings": "id",
    "days": "id", "day_places": "id", "stops": "id", "cameras": "id", "links": "id", "events": "sequence",
}  # fmt: skip
OTHERS = {
    "people": ("crew_id",), "sessions": ("person_id",), "invites": ("crew_id", "person_id", "uses_left"),
    "pairing_codes": ("person_id",), "kits": ("crew_id",), "bodies": ("kit_id", "clicks_per_stop"),
    "lenses": ("kit_id",), "holders": ("kit_id", "slots"), "filters": ("kit_id",), "venues": ("crew_id", "mains"),
    "places": ("venue_id", "position"), "readings": ("place_id",),
    "days": ("crew_id", "venue_id", "kit_id", "body_id", "lens_id", "holder_id"),
    "day_places": ("day_id", "place_id", "position"), "stops": ("day_id", "place_id", "lens_id", "minutes", "lasts"),
    "cameras": ("day_id", "person_id", "kit_id", "body_id", "lens_id", "holder_id"), "links": ("day_id", "sequence"),
    "events": ("day_id", "camera"),
}  # fmt: skip


def upgrade() -> None:
    if op.get_bind().dialect.name != "postgresql":
        return
    for table, key in KEYS.items():
        changes = ", ".join(f'ALTER COLUMN "{name}" TYPE BIGINT' for name in (key, *OTHERS.get(table, ())))
        op.execute(f'ALTER TABLE "{table}" {changes}')
        op.execute(f'ALTER SEQUENCE "{table}_{key}_seq" AS BIGINT')
