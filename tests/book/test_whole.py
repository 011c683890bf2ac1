"""What belongs to a crew, as a whole: nothing is forgotten, nothing of anybody else's is touched."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import Column, ForeignKey, Integer, Table, select

from server.book import tables, whole
from server.book.crews import NotThere, crew_to_enter
from server.book.invites import make_code, make_invite
from server.book.people import SOMEBODY

NOW = datetime(2026, 6, 20, 12, 30, 15, tzinfo=UTC)
FAR = datetime(2126, 6, 20, 12, 30, 15, tzinfo=UTC)
SECRETS = {"hash", "token", "secret", "key", "password"}


def filled(session, name):
    """A crew with a row in every table, every text of it ending in the crew's name."""
    crew = crew_to_enter(session, None, name)

    def made(table, **fields):
        known = {
            column.name: value_for(column, name)
            for column in table.__table__.columns
            if not column.primary_key and not column.foreign_keys and not column.nullable and column.default is None
        }
        row = table(**{**known, **fields})
        session.add(row)
        session.flush()
        return row

    person = made(tables.Person, crew_id=crew.id, role="lead")
    made(tables.BrowserSession, person_id=person.id)
    made(tables.Invite, crew_id=crew.id, role="guest", person_id=person.id)
    made(tables.PairingCode, person_id=person.id)
    kit = made(tables.Kit, crew_id=crew.id)
    for thing in (tables.Body, tables.Lens, tables.Holder, tables.Filter):
        made(thing, kit_id=kit.id)
    venue = made(tables.Venue, crew_id=crew.id, time_zone="UTC", latitude=51.5, longitude=-0.12)
    place = made(tables.Place, venue_id=venue.id)
    made(tables.Reading, place_id=place.id)
    day = made(tables.Day, crew_id=crew.id, venue_id=venue.id, kit_id=kit.id)
    made(tables.DayPlace, day_id=day.id, place_id=place.id)
    made(tables.Stop, day_id=day.id, place_id=place.id)
    made(tables.Event, day_id=day.id, id=f"event {name}"[:36])
    made(tables.Camera, day_id=day.id, kit_id=kit.id, person_id=person.id, matches="blur")
    made(tables.SharedLink, day_id=day.id, kind="sheet")
    return crew.id


def value_for(column, name):
    if isinstance(column.type, tables.UtcTime):
        return FAR if column.name in ("used_at", "expires_at") else NOW  # what has run out is cleared away
    known = {str: f"{column.name} of {name}", int: 1, float: 1.5, bool: False, date: NOW.date()}
    return known.get(column.type.python_type, {"typed": f"in {name}"})  # what is left is JSON


@pytest.fixture
def crews(book):
    """The numbers of two crews that have a row in every table each, beside the empty one of every book."""
    with book.writing() as session:
        return filled(session, "Harbour"), filled(session, "Mill")


def rows(book, crew=None):
    """Every row of every table; of one crew's alone, where it is said."""
    with book.reading() as session:
        asked = None if crew is None else whole.belonging(tables.Crew.__table__, crew)
        return {
            table.name: [
                tuple(row)
                for row in session.execute(select(table) if asked is None else select(table).where(asked[table]))
            ]
            for table in tables.Table.metadata.sorted_tables
        }


def exported(book, crew):
    with book.reading() as session:
        return json.loads("".join(whole.export(session, crew, NOW)))


def test_every_table_goes_with_a_crew_or_it_is_said_why_not():
    """A table that is added later is counted, exported and deleted, or this fails."""
    reached = {table.name for table in whole.belonging(tables.Crew.__table__, 1)}
    assert reached | set(whole.NOT_OF_A_CREW) == set(tables.Table.metadata.tables)
    assert not reached & set(whole.NOT_OF_A_CREW)
    assert all(whole.NOT_OF_A_CREW.values())


def test_the_crews_of_these_tests_have_a_row_in_every_table(book, crews):
    for crew in crews:
        with book.reading() as session:
            assert whole.count(session, tables.Crew, crew) == dict.fromkeys(
                (table.name for table in whole.belonging(tables.Crew.__table__, crew)), 1
            )


def test_what_lets_somebody_in_is_said_to_be_a_secret():
    """By its name: a column that is one, and is not called so, must be added here."""
    for table in tables.Table.metadata.sorted_tables:
        for column in table.columns:
            assert ("secret" in column.info) == (column.name in SECRETS), f"{table.name}.{column.name}"


def test_an_export_has_every_row_of_the_crew_with_every_field_but_the_secrets(book, crews):
    document = exported(book, crews[0])
    for table in tables.Table.metadata.sorted_tables:
        (row,) = document[table.name]
        open_ = {column.name for column in table.columns if "secret" not in column.info}
        assert set(row) == open_, table.name
        ((kept),) = rows(book, crews[0])[table.name]
        for column, value in zip(table.columns, kept, strict=True):
            if column.name in open_ and isinstance(value, str | int | float | dict | list):
                assert row[column.name] == value, f"{table.name}.{column.name}"


def test_an_export_says_times_in_utc_as_iso_8601_has_them(book, crews):
    document = exported(book, crews[0])
    assert document["written_at"] == "2026-06-20T12:30:15Z"
    assert document["readings"][0]["taken_at"] == "2026-06-20T12:30:15Z"
    assert datetime.fromisoformat(document["readings"][0]["taken_at"]) == NOW
    assert document["days"][0]["on"] == "2026-06-20"


def test_an_export_has_nothing_of_another_crew_and_no_hash(book, crews):
    with book.writing() as session:
        secret = make_invite(session, crews[0], "lead", "a test", timedelta(hours=1))
        code = make_code(session, session.scalars(select(tables.Person.id)).first())
    text = json.dumps(exported(book, crews[0]))
    assert "Harbour" in text
    assert "Mill" not in text
    hashes = [
        value
        for table in tables.Table.metadata.sorted_tables
        for row in rows(book)[table.name]
        for column, value in zip(table.columns, row, strict=True)
        if "secret" in column.info
    ]
    assert len(hashes) >= 9
    assert not [value for value in [*hashes, secret, code] if value in text]


def test_an_export_begins_with_a_word_on_how_to_read_it(book, crews):
    document = exported(book, crews[0])
    assert list(document)[:3] == ["readme", "crew", "written_at"]
    assert document["crew"] == "Harbour"
    assert any("UTC" in line for line in document["readme"])


def test_words_in_any_script_and_of_any_sign_come_back_as_they_were(book):
    typed = 'Zürich "☀" \\ </script> 東京\u2028'
    with book.writing() as session:
        crew = crew_to_enter(session, None, typed).id
    assert exported(book, crew)["crews"][0]["name"] == typed


def test_a_crew_that_is_removed_leaves_nothing_and_every_other_as_it_was(book, crews):
    others = rows(book, crews[1]), rows(book, 1)
    with book.writing() as session:
        whole.remove(session, tables.Crew, crews[0])
    assert (rows(book, crews[1]), rows(book, 1)) == others
    assert not any(rows(book, crews[0]).values())
    assert "Harbour" not in repr(rows(book))
    everything = rows(book)
    assert all(len(everything[name]) == len(others[0][name]) + len(others[1][name]) for name in everything)


def test_the_walk_finds_what_the_database_itself_would_take_along(book, crews):
    """Its own cascade and ours are one: what is said to go with a row is what goes."""
    with book.writing() as session:
        session.execute(tables.Crew.__table__.delete().where(tables.Crew.id == crews[0]))
    by_cascade = rows(book)
    with book.writing() as session:
        again = filled(session, "Harbour")
        whole.remove(session, tables.Crew, again)
    assert rows(book) == by_cascade


def test_a_removal_that_fails_halfway_removes_nothing(book, crews):
    before = rows(book)

    def failing():
        with book.writing() as session:
            whole.remove(session, tables.Crew, crews[0])
            raise ValueError("halfway")

    with pytest.raises(ValueError, match="halfway"):
        failing()
    assert rows(book) == before


def test_a_removed_day_s_number_and_a_removed_crew_s_are_not_given_out_again(book, crews):
    """An open page taps on its day by its number."""
    with book.writing() as session:
        day = session.scalars(select(tables.Day.id).where(tables.Day.crew_id == crews[1])).one()
        whole.remove(session, tables.Crew, crews[1])
    with book.writing() as session:
        again = filled(session, "Mill")
        assert session.scalars(select(tables.Day.id).where(tables.Day.crew_id == again)).one() > day
    assert again > crews[1]


def test_with_a_venue_go_its_days_and_nothing_else(book, crews):
    with book.writing() as session:
        venue = session.scalars(select(tables.Venue.id).where(tables.Venue.crew_id == crews[0])).one()
        found = whole.count(session, tables.Venue, venue)
        assert set(found) == {
            "venues", "places", "readings", "days", "day_places", "stops", "events", "cameras", "links",
        }  # fmt: skip
        before = whole.count(session, tables.Crew, crews[0])
        whole.remove(session, tables.Venue, venue)
        assert whole.count(session, tables.Crew, crews[0]) == {
            name: number for name, number in before.items() if name not in found
        }


def test_a_table_that_points_to_a_crew_s_thing_is_found_without_being_named():
    """As one that is added later."""
    table = Table(
        "later", tables.Table.metadata, Column("id", Integer, primary_key=True),
        Column("day_id", ForeignKey("days.id", ondelete="CASCADE")),
        Column("seen_by", ForeignKey("people.id", ondelete="SET NULL")),
    )  # fmt: skip
    try:
        found = whole.belonging(tables.Crew.__table__, 1)
        assert table in found
        assert "people" not in str(found[table]), "what a row only mentions does not own it"
    finally:
        tables.Table.metadata.remove(table)


def test_names_of_people_who_left_are_those_beside_what_was_kept_alone(book, crews):
    with book.reading() as session:
        assert whole.names_left(session, crews[0]) == ["made_by of Harbour", "name of Harbour", "who of Harbour"][0::2]


def test_a_name_that_is_forgotten_is_nowhere_and_another_crew_s_stays(book, crews):
    other = rows(book, crews[1])
    with book.writing() as session:
        stamp = session.scalars(select(tables.Day.stamp).where(tables.Day.crew_id == crews[0])).one()
        whole.forget_name(session, crews[0], "who of Harbour")
    kept = rows(book, crews[0])
    assert "who of Harbour" not in repr(kept)
    assert repr(kept).count(f"'{SOMEBODY}'") == 2, "a reading and an event"
    assert rows(book, crews[1]) == other
    with book.reading() as session:
        assert session.scalars(select(tables.Day.stamp).where(tables.Day.crew_id == crews[0])).one() != stamp


@pytest.mark.parametrize("name", ["name of Harbour", "who of Mill", "", SOMEBODY, "shooter", "nobody at all"])
def test_a_name_that_is_somebody_s_of_the_crew_or_nobody_s_is_not_forgotten(book, crews, name):
    """Who is in the crew is called what they call themselves."""
    before = rows(book)

    def asked():
        with book.writing() as session:
            whole.forget_name(session, crews[0], name)

    with pytest.raises(NotThere):
        asked()
    assert rows(book) == before
