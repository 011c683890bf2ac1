"""The revision of a day: another one after each change that its pages show, and the same until then."""

from __future__ import annotations

import pytest

from server.book import tables
from server.book.crews import NotThere
from server.book.days import open_day, start_rig, usual_look
from server.book.kits import changed
from server.book.people import first_camera
from server.book.watching import revision, revisions
from tests.conftest import another_crew, new_id


def revision_of(site, day=1, crew=1):
    with site.client.app.state.book.reading() as session:
        return revision(session, crew, day)


def test_a_page_and_whoever_watches_have_one_revision(site):
    """Else a page would be fetched again although it is what there is, or stay although it is not."""
    day, _ = site.day_at(8, 9)
    with site.client.app.state.book.reading() as session:
        assert (
            open_day(session, first_camera(1), day).revision
            == revision(session, 1, day)
            == revisions(session, [day])[day]
        )


def test_every_change_of_a_day_gives_it_another_revision(site):
    day, (place, _) = site.day_at(8, 9)
    kit_page, venue_page = "/kits/1", "/venues/1"
    seen = [revision_of(site)]
    for change in (
        lambda: site.tap(day, place),
        lambda: site.post(f"/days/{day}/nudges", event_id=new_id(), place=str(place), clicks="1"),
        lambda: site.post(f"/days/{day}/order", at_0="14:00", name_0="Vows", do="keep"),
        lambda: site.keep(f"{kit_page}/filters", name="0.9", kind="nd", mount="slot", engraved="0.9"),
        lambda: site.keep(f"{venue_page}/places/{place}/readings", kind="ev", value="10"),
        lambda: site.keep(f"/days/{day}/places/{place}/readings", kind="ev", value="11", event_id=new_id()),
    ):
        change()
        seen.append(revision_of(site))
    assert len(set(seen)) == len(seen)


def test_a_look_at_a_day_leaves_its_revision(site):
    day, _ = site.day_at(8, 9)
    before = revision_of(site)
    site.get(f"/days/{day}")
    site.get("/")
    assert revision_of(site) == before


def test_the_kit_of_another_camera_counts_too(site):
    """Its answers stand on a page of the same day."""
    day, _ = site.day_at(8, 9)
    other = site.kit("Second kit")
    seen = [revision_of(site)]
    book = site.client.app.state.book
    with book.writing() as session:
        kit = session.get_one(tables.Kit, other)
        start = start_rig(kit.bodies[0], usual_look(kit.bodies[0], kit.lenses[0]))
        session.add(tables.Camera(day_id=day, name="Tom", kit_id=other, matches="blur", start=start))
    seen.append(revision_of(site))
    with book.writing() as session:
        changed(session.get_one(tables.Kit, other))
    seen.append(revision_of(site))
    assert len(set(seen)) == 3
    with book.reading() as session:
        assert open_day(session, first_camera(1), day).revision == seen[-1]


def test_another_crews_day_has_none(site):
    day, _ = site.day_at(8, 9)
    with pytest.raises(NotThere):
        revision_of(site, day, another_crew(site))
    with pytest.raises(NotThere):
        revision_of(site, day + 1)


def test_revisions_are_asked_for_days_that_are_gone_too(site):
    """A page may stay open on a day that was deleted."""
    day, _ = site.day_at(8, 9)
    with site.client.app.state.book.reading() as session:
        assert set(revisions(session, [day, 99])) == {day}
        assert revisions(session, []) == {}
