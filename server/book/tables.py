"""
The tables. Rows belong to a crew, directly or through their parent; nothing is read without its crew.

Ranges are checked by the engine's values where they come in; the checks here are the last line behind them.
"""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    Date,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from server.exposure.daylight import Sky
from server.exposure.looks import How

from .log import Part
from .people import Role

NAME_LONGEST = 80
NOTES_LONGEST = 500
SECRET = {"secret": True}  # of a column: it lets somebody in, so no export has it
SOMEBODYS_NAME = {"who": True}  # of a column: who did what stands there, whether or not they are in the crew still


def new_stamp() -> str:
    """A word that was never used before."""
    return uuid.uuid4().hex


class UtcTime(TypeDecorator[datetime]):
    """An instant: aware in Python, UTC in the database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's signature
        """Python to database."""
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's signature
        """Database to Python; SQLite gives naive times back."""
        return None if value is None else value.replace(tzinfo=value.tzinfo or UTC).astimezone(UTC)


class Table(DeclarativeBase):
    """The base of all tables, with names for every constraint so that migrations can change them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy reads it from the class
        str: String(NAME_LONGEST),
        int: BigInteger().with_variant(Integer(), "sqlite"),  # only an INTEGER is SQLite's own row number
        datetime: UtcTime(),
        date: Date(),
        list[float]: JSON(),
        list[list[float]]: JSON(),
        list[int]: JSON(),
        dict[str, Any]: JSON(),
    }


def _crew() -> Mapped[int]:
    return mapped_column(ForeignKey("crews.id", ondelete="CASCADE"), index=True)


class Crew(Table):
    """People who work together. Nothing is shared between crews."""

    __tablename__ = "crews"
    # One that was deleted must not be another one's number for whoever still asks for it.
    __table_args__ = ({"sqlite_autoincrement": True},)
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]


class Person(Table):
    """Somebody of a crew. role: lead, second (shooter) or guest, as `book.people` has it."""

    __tablename__ = "people"
    __table_args__ = (CheckConstraint("role in ('lead', 'second', 'guest')", name="role"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    crew_id: Mapped[int] = _crew()
    name: Mapped[str]
    role: Mapped[Role] = mapped_column(String(10))
    joined_at: Mapped[datetime]

    crew: Mapped[Crew] = relationship(lazy="joined")
    sessions: Mapped[list[BrowserSession]] = relationship(
        order_by="BrowserSession.id", cascade="all, delete-orphan", passive_deletes=True
    )


def _person() -> Mapped[int]:
    return mapped_column(ForeignKey("people.id", ondelete="CASCADE"), index=True)


def _hash() -> Mapped[str]:
    return mapped_column(String(64), unique=True, info=SECRET)


def _who() -> Mapped[str]:
    return mapped_column(info=SOMEBODYS_NAME)


class BrowserSession(Table):
    """A browser that somebody came in with. hash: SHA-256 of what its cookie holds, in hexadecimal."""

    __tablename__ = "sessions"
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = _person()
    hash: Mapped[str] = _hash()
    device: Mapped[str]
    begun_at: Mapped[datetime]
    used_at: Mapped[datetime]
    expires_at: Mapped[datetime]


class Invite(Table):
    """
    A way into a crew. hash: SHA-256 of the link's secret.

    name       who it is for, "" for whoever comes;  person_id  somebody who is in the crew already, on another phone
    uses_left  0: used up
    """

    __tablename__ = "invites"
    __table_args__ = (CheckConstraint("role in ('lead', 'second', 'guest')", name="role"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    crew_id: Mapped[int] = _crew()
    hash: Mapped[str] = _hash()
    role: Mapped[Role] = mapped_column(String(10))
    name: Mapped[str] = mapped_column(default="")
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"), index=True)
    made_by: Mapped[str] = _who()
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    uses_left: Mapped[int]


class PairingCode(Table):
    """A short code that brings somebody's other browser in, once. hash: SHA-256 of it."""

    __tablename__ = "pairing_codes"
    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = _person()
    hash: Mapped[str] = _hash()
    expires_at: Mapped[datetime]


class Kit(Table):
    """
    What one shooter owns. hands: the seconds that differ from the usual ones.

    stamp is new whenever anything in the kit changes (`kits.changed`): what was worked out for a stamp stays true.
    """

    __tablename__ = "kits"
    id: Mapped[int] = mapped_column(primary_key=True)
    crew_id: Mapped[int] = _crew()
    name: Mapped[str]
    hands: Mapped[dict[str, Any]] = mapped_column(default=dict)
    step_ups: Mapped[list[list[float]]] = mapped_column(default=list)
    stamp: Mapped[str] = mapped_column(String(32), default=new_stamp)

    bodies: Mapped[list[Body]] = relationship(order_by="Body.id", lazy="selectin", cascade="all, delete-orphan")
    lenses: Mapped[list[Lens]] = relationship(order_by="Lens.id", lazy="selectin", cascade="all, delete-orphan")
    holders: Mapped[list[Holder]] = relationship(order_by="Holder.id", lazy="selectin", cascade="all, delete-orphan")
    filters: Mapped[list[Filter]] = relationship(order_by="Filter.id", lazy="selectin", cascade="all, delete-orphan")


def _kit() -> Mapped[int]:
    return mapped_column(ForeignKey("kits.id", ondelete="CASCADE"), index=True)


class Body(Table):
    """
    A camera body; figures as `exposure.rig.Body`.

    frame_rate [1/s]: shutters were typed as angles against it;  format: a sensor, by its id in `exposure.depth`
    """

    __tablename__ = "bodies"
    id: Mapped[int] = mapped_column(primary_key=True)
    kit_id: Mapped[int] = _kit()
    name: Mapped[str]
    clicks_per_stop: Mapped[int]
    iso_base: Mapped[list[float]]
    iso_allowed: Mapped[list[float]]
    iso_quiet: Mapped[float | None]
    shutters: Mapped[list[float]]
    frame_rate: Mapped[float | None]
    format: Mapped[str | None]
    built_in_nd: Mapped[list[float]]


class Lens(Table):
    """A lens; figures as `exposure.rig.Lens`. focal_mm, and focal_long_mm of a zoom's long end."""

    __tablename__ = "lenses"
    id: Mapped[int] = mapped_column(primary_key=True)
    kit_id: Mapped[int] = _kit()
    name: Mapped[str]
    widest: Mapped[float]
    smallest: Mapped[float]
    thread: Mapped[float | None]
    loss_stops: Mapped[float]
    widest_long: Mapped[float | None]
    focal_mm: Mapped[float | None]
    focal_long_mm: Mapped[float | None]


class Holder(Table):
    """A filter holder and its adapter rings; figures as `exposure.glass.Holder`."""

    __tablename__ = "holders"
    id: Mapped[int] = mapped_column(primary_key=True)
    kit_id: Mapped[int] = _kit()
    name: Mapped[str]
    width: Mapped[float]
    slots: Mapped[int]
    rings: Mapped[list[float]]
    front: Mapped[float | None]


class Filter(Table):
    """
    A filter; figures as `exposure.glass.Filter`.

    engraved  what stands on it, as typed;  measured_spread [D]  the uncertainty of its measured density (k = 2)
    """

    __tablename__ = "filters"
    id: Mapped[int] = mapped_column(primary_key=True)
    kit_id: Mapped[int] = _kit()
    name: Mapped[str]
    kind: Mapped[str] = mapped_column(default="nd")
    mount: Mapped[str]
    engraved: Mapped[str] = mapped_column(default="")
    density: Mapped[float]
    density_to: Mapped[float | None]
    measured: Mapped[float | None]
    measured_spread: Mapped[float | None]
    edge: Mapped[str | None]
    width: Mapped[float | None]
    thread: Mapped[float | None]


class Venue(Table):
    """Somewhere to shoot. Coordinates [degrees], north and east positive; mains [Hz] of its lamps. None: not known."""

    __tablename__ = "venues"
    __table_args__ = (
        CheckConstraint("latitude between -90 and 90", name="latitude"),
        CheckConstraint("longitude between -180 and 180", name="longitude"),
        CheckConstraint("mains in (50, 60)", name="mains"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    crew_id: Mapped[int] = _crew()
    name: Mapped[str]
    latitude: Mapped[float | None]
    longitude: Mapped[float | None]
    time_zone: Mapped[str]
    mains: Mapped[int | None]

    places: Mapped[list[Place]] = relationship(
        order_by="Place.position, Place.id", lazy="selectin", cascade="all, delete-orphan"
    )


class Place(Table):
    """
    A spot at a venue with its own light; what its drift needs as `exposure.daylight.Spot`.

    light  sun, shade, window or lamps;  lasers  whether stage lasers may be on
    """

    __tablename__ = "places"
    id: Mapped[int] = mapped_column(primary_key=True)
    venue_id: Mapped[int] = mapped_column(ForeignKey("venues.id", ondelete="CASCADE"), index=True)
    name: Mapped[str]
    light: Mapped[str]
    position: Mapped[int]
    lit_from: Mapped[str] = mapped_column(default="side")
    faces: Mapped[float | None]
    lamps: Mapped[float] = mapped_column(default=0.0)
    sun_over: Mapped[float] = mapped_column(default=0.0)
    sun_behind: Mapped[float] = mapped_column(default=0.0)
    lasers: Mapped[bool] = mapped_column(default=False)

    readings: Mapped[list[Reading]] = relationship(
        order_by="Reading.taken_at.desc(), Reading.id.desc()",
        cascade="all, delete-orphan",
        back_populates="place",
    )


class Reading(Table):
    """
    A light level: the raw figures as typed, and the ev100 [stops] they gave.

    logged_at  when it was written down; None: when it was taken
    sky   as it stood, where it was noted;  part  what was metered: the face, the bright or the dark of the place
    """

    __tablename__ = "readings"
    __table_args__ = (Index("ix_readings_place_taken", "place_id", "taken_at"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("places.id", ondelete="CASCADE"))
    taken_at: Mapped[datetime]
    who: Mapped[str] = _who()
    kind: Mapped[str]
    raw: Mapped[dict[str, Any]]
    ev100: Mapped[float]
    logged_at: Mapped[datetime | None]
    sky: Mapped[Sky | None] = mapped_column(String(NAME_LONGEST))
    part: Mapped[Part] = mapped_column(String(NAME_LONGEST), default="face")

    place: Mapped[Place] = relationship(back_populates="readings")


class Day(Table):
    """
    One shooting day at a venue with a kit. start: the rig the shooter starts with, as in the JSON calls.

    seen_at  the hour that its light is shown for until the day has come, as "14:00" at the venue's clock
    steady   whether only shutters that lamps do not flicker with are used under lamps

    stamp is new whenever anything that the day shows changes, its kit apart (`days.changed`, `days.changed_at`).
    """

    __tablename__ = "days"
    # An open page taps on its day by its number: none may be given out again once the day is removed.
    __table_args__ = ({"sqlite_autoincrement": True},)
    id: Mapped[int] = mapped_column(primary_key=True)
    crew_id: Mapped[int] = _crew()
    venue_id: Mapped[int] = mapped_column(ForeignKey("venues.id", ondelete="CASCADE"), index=True)
    kit_id: Mapped[int] = mapped_column(ForeignKey("kits.id", ondelete="CASCADE"), index=True)
    body_id: Mapped[int | None] = mapped_column(ForeignKey("bodies.id", ondelete="SET NULL"))
    lens_id: Mapped[int | None] = mapped_column(ForeignKey("lenses.id", ondelete="SET NULL"))
    holder_id: Mapped[int | None] = mapped_column(ForeignKey("holders.id", ondelete="SET NULL"))
    name: Mapped[str]
    on: Mapped[date]
    start: Mapped[dict[str, Any]]
    seen_at: Mapped[str] = mapped_column(String(5), default="14:00")
    steady: Mapped[bool] = mapped_column(default=False)
    stamp: Mapped[str] = mapped_column(String(32), default=new_stamp)

    venue: Mapped[Venue] = relationship(lazy="joined")
    kit: Mapped[Kit] = relationship(lazy="joined")
    places: Mapped[list[DayPlace]] = relationship(
        order_by="DayPlace.position, DayPlace.id", lazy="selectin", cascade="all, delete-orphan"
    )
    stops: Mapped[list[Stop]] = relationship(
        order_by="Stop.minutes, Stop.second, Stop.id", cascade="all, delete-orphan", passive_deletes=True
    )


class DayPlace(Table):
    """
    A place in a day's order, with the look wanted there; figures as `exposure.rig.Look`.

    worn  numbers of the filters that the look wears;  distance_m  of the subject, for depth of field
    """

    __tablename__ = "day_places"
    __table_args__ = (UniqueConstraint("day_id", "place_id"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), index=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("places.id", ondelete="CASCADE"), index=True)
    position: Mapped[int]
    wanted: Mapped[float]
    widest: Mapped[float]
    narrowest: Mapped[float]
    shutter: Mapped[float]
    tolerance: Mapped[float]
    rush_tolerance: Mapped[float]
    worn: Mapped[list[int]] = mapped_column(default=list)
    long_end: Mapped[bool] = mapped_column(default=False)
    distance_m: Mapped[float | None]

    place: Mapped[Place] = relationship(lazy="joined")


class Stop(Table):
    """
    A stop of a day's running order, as it was planned; what shifts it on the day is in the log.

    uid        names it in calendars, for ever
    minutes    after the day's midnight, as the venue's clock shows them; past 1440 it is after midnight
    second     of two equal times of a clock that goes back, the second;  lasts [min], None: not known
    place_id   None: no place of the venue;  lens_id  put on for this stop, None: what is on stays on
    wanted, widest, narrowest  where the look differs from the place's;  None: as there
    """

    __tablename__ = "stops"
    # The log names stops by their number for ever: none may be given out again.
    __table_args__ = ({"sqlite_autoincrement": True},)
    id: Mapped[int] = mapped_column(primary_key=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), index=True)
    uid: Mapped[str] = mapped_column(String(36), default=lambda: str(uuid.uuid4()))
    minutes: Mapped[int]
    second: Mapped[bool] = mapped_column(default=False)
    lasts: Mapped[int | None]
    name: Mapped[str]
    place_id: Mapped[int | None] = mapped_column(ForeignKey("places.id", ondelete="SET NULL"), index=True)
    lens_id: Mapped[int | None] = mapped_column(ForeignKey("lenses.id", ondelete="SET NULL"), index=True)
    wanted: Mapped[float | None]
    widest: Mapped[float | None]
    narrowest: Mapped[float | None]
    notes: Mapped[str] = mapped_column(String(NOTES_LONGEST), default="")


class Camera(Table):
    """
    Another camera on a day, of a kit of its own: the second shooter's. The day itself has the first.

    name     of who is behind it;  person_id  who that is, None: nobody of the crew any more
    matches  how it goes with the first camera's look, as `exposure.looks.How`
    start    the rig it starts with, as in the JSON calls
    """

    __tablename__ = "cameras"
    # The log names cameras by their number for ever: none may be given out again.
    __table_args__ = (
        CheckConstraint("matches in ('field', 'blur', 'own')", name="matches"),
        UniqueConstraint("day_id", "person_id"),
        {"sqlite_autoincrement": True},
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), index=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id", ondelete="SET NULL"), index=True)
    name: Mapped[str] = _who()
    kit_id: Mapped[int] = mapped_column(ForeignKey("kits.id", ondelete="CASCADE"), index=True)
    body_id: Mapped[int | None] = mapped_column(ForeignKey("bodies.id", ondelete="SET NULL"))
    lens_id: Mapped[int | None] = mapped_column(ForeignKey("lenses.id", ondelete="SET NULL"))
    holder_id: Mapped[int | None] = mapped_column(ForeignKey("holders.id", ondelete="SET NULL"))
    matches: Mapped[How] = mapped_column(String(10))
    start: Mapped[dict[str, Any]]


class SharedLink(Table):
    """
    A link to a day that is read without an account. hash: SHA-256 of its secret.

    kind   "sheet", or "calendar" for a subscription;  exact  whether the venue's coordinates are in it
    name   who it is for;  expires_at  None: it lasts until it is ended;  used_at  when it was opened last
    said, said_at, sequence  of a calendar: what its entries hash to, since when they say so, and how often that changed
    """

    __tablename__ = "links"
    __table_args__ = (CheckConstraint("kind in ('sheet', 'calendar')", name="kind"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), index=True)
    hash: Mapped[str] = _hash()
    kind: Mapped[str] = mapped_column(String(10))
    exact: Mapped[bool]
    name: Mapped[str]
    made_by: Mapped[str] = _who()
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    used_at: Mapped[datetime | None]
    said: Mapped[str] = mapped_column(String(64), default="")
    said_at: Mapped[datetime | None]
    sequence: Mapped[int] = mapped_column(default=0)


class Event(Table):
    """
    One entry of a day's log; never changed (but for a name, `whole.forget_name`), never deleted but with its day.

    id  made by the phone;  made_at  when the hand did it;  received_at  when it came in;  data  as `book.events`
    camera  the number of the camera whose shooter did it, None: the first
    """

    __tablename__ = "events"
    __table_args__ = (UniqueConstraint("day_id", "id", name="uq_events_day_event"),)
    sequence: Mapped[int] = mapped_column(primary_key=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), index=True)
    id: Mapped[str] = mapped_column(String(36))
    kind: Mapped[str] = mapped_column(String(20))
    made_at: Mapped[datetime]
    received_at: Mapped[datetime]
    who: Mapped[str] = _who()
    data: Mapped[dict[str, Any]]
    camera: Mapped[int | None]
