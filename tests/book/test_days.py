"""A day opened from the book: its places, the light there, the kit it is worked out with, and its log."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from server.book import days, kits, tables
from server.book.crews import NotThere, first_crew, owned
from server.book.kits import KitIncomplete
from server.book.log import rig_from
from server.book.people import first_camera
from server.exposure.refused import OutOfRange
from server.exposure.rig import Look, Rig

NOON = datetime(2026, 6, 20, 12, tzinfo=UTC)
LOOK = {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02, "tolerance": 0.2, "rush_tolerance": 0.5}
START = {
    "holder_on": False, "slots": [], "threads": [], "built_in": 0.0, "aperture": 2.8, "shutter": 0.02, "iso": 100.0,
}  # fmt: skip


def body(name="Body", **figures):
    usual = {
        "clicks_per_stop": 3, "iso_base": [100.0], "iso_allowed": [100.0, 800.0], "iso_quiet": None,
        "shutters": [0.02], "built_in_nd": [0.0],
    }  # fmt: skip
    return tables.Body(name=name, **{**usual, **figures})


def lens(name="Lens", **figures):
    return tables.Lens(name=name, **{"widest": 1.8, "smallest": 16.0, "thread": 77.0, "loss_stops": 0.0, **figures})


def reading(ev100, hours_ago):
    return tables.Reading(
        taken_at=NOON - timedelta(hours=hours_ago), who="scout", kind="ev", raw={"value": ev100}, ev100=ev100
    )


@pytest.fixture
def day(book):
    """A day at three places in the order 2, 3, 1: one read thrice, one once, one never. Its crew and its number."""
    with book.writing() as session:
        crew = first_crew(session)
        kit = tables.Kit(
            crew_id=crew.id, name="Kit", hands={"pull": 5.0}, bodies=[body()], lenses=[lens()],
            holders=[tables.Holder(name="Holder", width=100.0, slots=2, rings=[77.0])],
            filters=[
                tables.Filter(name=f"{density} plate", mount="slot", density=density, width=None, thread=None)
                for density in (0.6, 1.2)
            ],
        )  # fmt: skip
        venue = tables.Venue(crew_id=crew.id, name="Mill", time_zone="Europe/London", places=[
            tables.Place(name="Yard", light="sun", position=1, readings=[
                reading(13.0, 3), reading(15.0, 1), reading(14.0, 2),
            ]),
            tables.Place(name="Loft", light="window", position=2, readings=[reading(6.0, 30)]),
            tables.Place(name="Cellar", light="lamps", position=3),
        ])  # fmt: skip
        session.add_all([kit, venue])
        session.flush()
        made = tables.Day(
            crew_id=crew.id, venue=venue, kit=kit, body_id=kit.bodies[0].id, lens_id=kit.lenses[0].id,
            holder_id=kit.holders[0].id, name="Wedding", on=date(2026, 6, 20), start=START,
            places=[
                tables.DayPlace(place_id=venue.places[index].id, position=position, **LOOK)
                for index, position in ((0, 30), (1, 10), (2, 20))
            ],
        )  # fmt: skip
        session.add(made)
        session.flush()
        return crew.id, made.id


@pytest.fixture
def opened(book, day):
    def open_again():
        with book.reading() as session:
            return days.open_day(session, first_camera(day[0]), day[1])

    return open_again


@pytest.fixture
def log(book, day):
    def appended(event_id, kind, data, minutes=0.0):
        with book.writing() as session:
            return days.append(
                session, day[1], event_id, kind, data, "shooter", None, NOON + timedelta(minutes=minutes)
            )

    return appended


def place_of(day, name):
    return next(place.number for place in day.places if place.name == name)


def test_places_come_in_the_day_s_order(opened):
    assert [place.name for place in opened().places] == ["Loft", "Cellar", "Yard"]


def test_each_place_has_its_own_kind_of_light_and_look(opened):
    loft = opened().places[0]
    assert (loft.spot.light, loft.look) == ("window", Look(2.8, 2.0, 4.0, 0.02, 0.2, 0.5))


def test_the_newest_reading_counts_not_the_last_that_was_typed(opened):
    """Readings are typed in later, in any order; the light is the one that was metered last."""
    light = {place.name: place.light for place in opened().places}
    assert light["Yard"].reading.ev100 == 15.0
    assert light["Loft"].reading.ev100 == 6.0
    assert light["Cellar"] is None


def test_of_two_readings_of_one_moment_the_one_typed_later_counts(book, opened, day):
    with book.writing() as session:
        place = place_of(opened(), "Loft")
        session.add_all([tables.Reading(place_id=place, taken_at=NOON, who="w", kind="ev", raw={}, ev100=ev)
                         for ev in (3.0, 4.0)])  # fmt: skip
        days.changed(session, day[1])
    assert opened().places[0].light.reading.ev100 == 4.0


def test_the_kit_is_the_one_chosen_with_the_hands_that_differ(opened):
    kit = opened().kit
    assert [piece.density for piece in kit.filters] == [0.6, 1.2]
    assert (kit.hands.pull, kit.hands.drop_in) == (5.0, 4.0)
    assert kit.holder.slots == 2


def test_a_day_starts_with_its_start_and_nobody_anywhere(opened):
    day = opened()
    assert day.here is None
    assert day.rig == Rig(False, (), (), 0.0, 2.8, 0.02, 100.0)
    assert not day.moved_by_kit


def test_a_tap_moves_the_shooter(opened, log):
    loft = place_of(opened(), "Loft")
    assert log("first-tap", "moved", {"place": loft, "answer": "clean", "rig": START | {"iso": 800.0}})
    day = opened()
    assert day.here.name == "Loft"
    assert day.rig.iso == 800.0


def test_an_id_counts_once_a_day(opened, log):
    """A phone that is not sure sends again: the second time changes nothing, whatever it says."""
    loft, cellar = place_of(opened(), "Loft"), place_of(opened(), "Cellar")
    assert log("same-id", "moved", {"place": loft, "answer": "clean", "rig": START})
    assert not log("same-id", "moved", {"place": cellar, "answer": "clean", "rig": START})
    assert opened().here.name == "Loft"


def test_two_days_may_have_events_of_one_id(book, day, log):
    """Ids are a day's own: another day's log must not swallow this one's tap."""
    with book.writing() as session:
        first = session.get_one(tables.Day, day[1])
        other = tables.Day(
            crew_id=day[0], venue=first.venue, kit=first.kit, name="Other", on=first.on, start=START, places=[]
        )
        session.add(other)
        session.flush()
        number = other.id
        assert days.append(session, number, "same-id", "undone", {"event": "x"}, "shooter", None)
    assert log("same-id", "undone", {"event": "x"})


def test_events_keep_the_time_of_the_hand_and_the_time_they_came_in(book, log):
    log("late-one", "undone", {"event": "x"}, minutes=-90)
    with book.reading() as session:
        (event,) = session.query(tables.Event)
    assert event.made_at == NOON - timedelta(minutes=90)
    assert abs(datetime.now(UTC) - event.received_at) < timedelta(minutes=1)


def test_a_nudge_is_seen_at_once(opened, log):
    loft = place_of(opened(), "Loft")
    log("nudge-one", "nudged", {"place": loft, "clicks": -1})
    assert opened().places[0].light.light.ev100 == pytest.approx(6 - 1 / 3)
    log("nudge-two", "nudged", {"place": loft, "clicks": -1})
    assert opened().places[0].light.light.ev100 == pytest.approx(6 - 2 / 3)


def test_a_nudge_that_came_late_counts_from_the_reading_of_its_time(opened, log):
    """Made before the reading of 11:00 and sent after it: the reading has it in it already."""
    yard = place_of(opened(), "Yard")
    log("late-nudge", "nudged", {"place": yard, "clicks": -1}, minutes=-90)
    assert opened().places[2].light.light.ev100 == 15.0


def test_a_failed_block_leaves_no_event_and_the_day_as_it_was(book, day, opened):
    """What was worked out from a log that was not kept must not be shown."""
    before = opened()

    def failing():
        with book.writing() as session:
            days.append(
                session, day[1], "gone-again", "nudged", {"place": before.places[0].number, "clicks": 1}, "s", None
            )
            session.flush()
            assert days.open_day(session, first_camera(day[0]), day[1]).places[0].light.nudge == 1
            raise ValueError("halfway")

    with pytest.raises(ValueError, match="halfway"):
        failing()
    assert opened() == before


@pytest.mark.parametrize("number", [0, -1, 2, 2**31 - 1, 2**62])
def test_a_day_that_is_not_there_is_not_there(book, day, number):
    with book.reading() as session, pytest.raises(NotThere):
        days.open_day(session, first_camera(day[0]), number)


def test_another_crew_s_day_is_not_there(book, day):
    """Crews share nothing; a number that is guessed must not open a day."""
    with book.writing() as session:
        stranger = tables.Crew(name="Strangers")
        session.add(stranger)
        session.flush()
        with pytest.raises(NotThere):
            days.open_day(session, first_camera(stranger.id), day[1])
        with pytest.raises(NotThere):
            days.with_lens(session, first_camera(stranger.id), day[1], 1)
        for table in (tables.Kit, tables.Venue, tables.Day):
            with pytest.raises(NotThere):
                owned(session, table, stranger.id, 1)


def test_only_the_day_s_own_places_can_be_walked_to(book, day, opened):
    with book.writing() as session:
        venue = tables.Venue(crew_id=day[0], name="Barn", time_zone="UTC")
        venue.places = [tables.Place(name="Hay", light="sun", position=1)]
        session.add(venue)
        session.flush()
        elsewhere = venue.places[0].id
    mine = opened().places[0]
    assert opened().place(mine.number) is mine
    for place in (elsewhere, 0, -1, 2**40):
        with pytest.raises(NotThere):
            opened().place(place)


def changed(book, day, change):
    with book.writing() as session:
        kit = session.get_one(tables.Day, day[1]).kit
        change(session, kit)
        kits.changed(kit)


def test_a_filter_that_left_the_kit_is_off_the_rig_and_the_day_says_so(book, day, opened, log):
    """A log mentions glass that is sold by now: the day opens all the same."""
    first, second = (piece.id for piece in opened().kit.filters)
    log("correction", "rig_corrected", {"rig": START | {"holder_on": True, "slots": [first, second]}})
    changed(book, day, lambda _session, kit: kit.filters.pop(0))
    after = opened()
    assert after.rig.slots == (second,)
    assert after.moved_by_kit


def test_a_filter_of_another_density_is_worked_with_at_once(book, day, opened):
    def thicker(_session, kit):
        kit.filters[0].density = 0.9

    changed(book, day, thicker)
    assert [piece.density for piece in opened().kit.filters] == [0.9, 1.2]


@pytest.mark.parametrize("things", ["bodies", "lenses"])
def test_a_kit_without_a_body_or_a_lens_says_which_kit(book, day, opened, things):
    changed(book, day, lambda _session, kit: getattr(kit, things).clear())
    with pytest.raises(KitIncomplete, match=r"^Kit$"):
        opened()


def test_a_day_whose_lens_was_removed_is_worked_out_with_one_that_is_there_and_says_so(book, day, opened):
    """Another lens is another iris: an answer for it must not pass for an answer for the one that was chosen."""

    def swapped(session, kit):
        kit.lenses.append(lens("Longer", widest=2.8))
        session.flush()
        kit.lenses.pop(0)

    changed(book, day, swapped)
    after = opened()
    assert after.kit.lens.widest == 2.8
    assert after.moved_by_kit


def test_a_holder_that_was_removed_leaves_no_holder(book, day, opened, log):
    """And a rig that had it on is the same without it."""
    log("correction", "rig_corrected", {"rig": START | {"holder_on": True}})
    changed(book, day, lambda _session, kit: kit.holders.clear())
    after = opened()
    assert after.kit.holder is None
    assert not after.rig.holder_on
    assert after.moved_by_kit


def test_a_day_starts_without_glass_at_the_look_s_iris_and_the_lowest_base():
    look = Look(2.8, 2.0, 4.0, 0.01)
    start = days.start_rig(body(iso_base=[800.0, 100.0], built_in_nd=[0.0, 2.0]), look)
    assert rig_from(start) == Rig(False, (), (), 0.0, 2.8, 0.01, 100.0)


def test_a_rig_that_the_kit_does_not_allow_is_not_kept(opened):
    kit = opened().kit
    bare = Rig(False, (), (), 0.0, 2.8, 0.02, 100.0)
    assert rig_from(days.checked_rig(kit, bare)) == bare
    with pytest.raises(OutOfRange):
        days.checked_rig(kit, Rig(False, ("99",), (), 0.0, 2.8, 0.02, 100.0))


def test_a_rig_in_the_log_comes_out_as_it_went_in(opened, log):
    """Through JSON and the database, to the last digit."""
    first = opened().kit.filters[0].id
    rig = Rig(True, (first,), (), 0.0, 2.828, 1 / 48, 101.5)
    log("correction", "rig_corrected", {"rig": days.checked_rig(opened().kit, rig)})
    assert opened().rig == rig


def test_removing_a_day_removes_what_is_its_own_and_nothing_else(book, day, log):
    log("some-event", "undone", {"event": "x"})
    with book.writing() as session:
        session.delete(session.get_one(tables.Day, day[1]))
    with book.reading() as session:
        assert session.query(tables.Event).count() == 0
        assert session.query(tables.DayPlace).count() == 0
        assert session.query(tables.Place).count() == 3
        assert session.query(tables.Filter).count() == 2
