"""A day's sheet: made, handed on by links, read without an account, ended; and what is never on it."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta

import icalendar
import pypdfium2
import pytest
import zxingcpp
from PIL import Image
from sqlalchemy import update

from server.book import tables
from server.book.days import changed_at
from server.book.links import LINKS_MOST, USED_EVERY, hashed, lasts_until
from server.door.limits import WRONG_MOST
from tests.conftest import HERE, another_crew, new_id, somebody, stranger
from tests.pages.test_plan import cells

SHEET_ENDS = ("", "/sheet.pdf", "/card.pdf", "/sheet.json")


def linked(site, day=1, **fields):
    """A new link to a day: its path."""
    answer = site.post(f"/days/{day}/links", **{"kind": "sheet", "name": "the planner", "lasts": "after", **fields})
    assert answer.status_code == 200, answer.text
    assert answer.headers["cache-control"] == "no-store", "the page has a secret in it"
    return re.search(rf'value="{HERE}(/[sc]/[^"]+)"', answer.text)[1]


def change(site, table, **values):
    with site.client.app.state.book.writing() as session:
        session.execute(update(table).values(**values))


def pages_of(pdf):
    """The words of each page of a PDF, and its size [mm]."""
    document = pypdfium2.PdfDocument(pdf)
    found = [
        (page.get_textpage().get_text_bounded(), tuple(round(each * 25.4 / 72, 1) for each in page.get_size()))
        for page in document
    ]
    document.close()
    return found


def codes_of(picture):
    return [code.text for code in zxingcpp.read_barcodes(picture)]


def codes_of_pdf(pdf):
    document = pypdfium2.PdfDocument(pdf)
    found = codes_of(document[0].render(scale=4).to_pil())
    document.close()
    return found


def test_whoever_has_a_link_reads_the_sheet_and_nothing_else(demo):
    """No account, no cookie; and not a step further into what the crew has."""
    path = linked(demo)
    planner = stranger(demo)
    page = planner.get(path)
    for words in ("Midsummer wedding", "Orchard Priory", "Vows", "Chapel inside", "EV", "ISO", "f/", "Stage lasers"):
        assert words in page.text, words
    assert planner.client.get(path).headers.get("set-cookie") is None
    assert {link.removeprefix(path) for link in page.links} == {"/sheet.pdf", "/card.pdf", "/sheet.json", "/manner"}
    assert planner.client.get("/days/1/sheet").status_code == 401
    for method in ("post", "put", "delete"):
        assert getattr(planner.client, method)(path).status_code == 405


def test_a_sheet_has_every_stop_with_its_light_and_rig_and_every_place_with_its_reading(demo):
    page = stranger(demo).get(linked(demo))
    plan = cells(demo.get("/days/1/plan?whole=1"), "plan-stops")
    document = json.loads(stranger(demo).client.get(linked(demo) + "/sheet.json").text)
    for stop in document["day"]["order"]:
        assert stop["name"] in page.text
        assert stop["notes"] in page.text
    for place in document["venue"]["places"]:
        assert place["name"] in page.text
    rigs = [row[5] for row in plan if row[5]]
    assert len(rigs) == 8
    for rig in rigs:
        glass, dials = rig.split("; ")
        assert glass in page.text
        assert dials in page.text
    assert "camera f/2.8 1/50 ISO 400" in page.text
    assert "sky clear" in page.text
    assert "window or brightest EV 9.9" in " ".join(page.text.split())


def test_a_stop_without_a_reading_or_at_a_place_that_the_day_leaves_out_says_so(site):
    """Its place has its name all the same."""
    venue = site.venue()
    places = [site.place(venue, "Barn", 9), site.place(venue, "Loft"), site.place(venue, "Cellar", 5)]
    day = site.day(venue, site.kit())
    site.keep(f"/days/{day}/order", **{key: value for n, place in enumerate(places) for key, value in (
        (f"at_{n}", f"{10 + n}:00"), (f"name_{n}", f"Act {n}"), (f"place_{n}", str(place)))})  # fmt: skip
    form = site.get(f"/days/{day}/setup").form(f"/days/{day}/setup")
    site.submit(form, **{f"used_{places[2]}": None})
    text = " ".join(stranger(site).get(linked(site, day)).text.split())
    assert "Act 1 Loft Not planned: no reading" in text
    assert "Act 2 Cellar Not planned: its place is not used on this day" in text
    assert "Loft lamps not read yet" in text


def test_times_are_those_that_the_day_has_shifted(demo):
    path, feed = linked(demo), linked(demo, kind="calendar")
    first = demo.rows(tables.Stop)[0]
    clock = f"{first.minutes // 60 % 24:02}:{first.minutes % 60:02}"
    late = f"{(first.minutes + 20) // 60 % 24:02}:{(first.minutes + 20) % 60:02}"
    reader = stranger(demo)
    assert clock in reader.get(path).text
    demo.keep("/days/1/order/shifts", event_id=new_id(), stop=str(first.id), minutes="20")
    assert late in reader.get(path).text
    assert json.loads(reader.client.get(path + "/sheet.json").text)["day"]["order"][0]["minutes"] == first.minutes + 20
    assert f"T{late.replace(':', '')}00" in reader.client.get(feed).text


def test_a_reading_of_the_day_is_on_the_sheet_until_it_is_taken_back(demo):
    path, reader = linked(demo), stranger(demo)
    demo.keep("/days/1/places/6/readings", event_id=new_id(), kind="lux", value="432")
    assert "432 lx" in reader.get(path).text
    assert "432.0" in reader.client.get(path + "/sheet.json").text
    demo.keep("/days/1/undo", event_id=new_id(), event=demo.rows(tables.Event)[-1].id)
    assert "432" not in reader.get(path).text
    assert "432.0" not in reader.client.get(path + "/sheet.json").text


def test_no_person_no_clip_and_no_other_camera_is_on_a_sheet(demo):
    lead = somebody(demo, "lead", "Zebediah")
    place = demo.rows(tables.Place)[0].id
    lead.keep(f"/venues/1/places/{place}/readings", kind="ev", value="14.1")
    lead.keep("/days/1/clips", event_id=new_id(), name="XK77", notes="Quokka")
    path, feed = linked(lead, name="Wilhelmina"), linked(lead, kind="calendar")
    reader = stranger(demo)
    said = [reader.client.get(path + end).content for end in SHEET_ENDS] + [reader.client.get(feed).content]
    for each in (*said, *(words.encode() for pdf in said[1:3] for words, _ in pages_of(pdf))):
        for word in (b"Zebediah", b"XK77", b"Quokka", b"Wilhelmina", b"My crew", b"Second body"):
            assert word not in each


# Coordinates.


def test_nothing_of_a_sheet_without_coordinates_depends_on_more_than_a_tenth_of_a_degree(demo):
    """Another spot of the same eleven kilometres gives the same bytes: page, prints, file and calendar."""
    path, feed, reader = linked(demo), linked(demo, kind="calendar"), stranger(demo)
    place = demo.rows(tables.Place)[0].id
    shot = {"aperture": 1.8, "shutter": 0.01, "iso": 64.0, "latitude": 51.47791, "longitude": -0.31415}
    with demo.client.app.state.book.writing() as session:
        session.add(tables.Reading(place_id=place, taken_at=datetime.now(UTC), who="x", kind="photo", raw=shot, ev100=14.2,
                                   part="face"))  # fmt: skip
    said = []
    for latitude, longitude in ((51.47791, -0.31415), (51.5321, -0.2718)):
        change(demo, tables.Venue, latitude=latitude, longitude=longitude)
        with demo.client.app.state.book.writing() as session:
            changed_at(session, 1)
        said.append([reader.client.get(path + end) for end in SHEET_ENDS] + [reader.client.get(feed)])
        assert all(answer.status_code == 200 for answer in said[-1])
    assert [each.content for each in said[0]] == [each.content for each in said[1]]
    texts = [each.text for each in said[0]] + [words for pdf in said[0][1:3] for words, _ in pages_of(pdf.content)]
    for text in texts:
        for digits in ("51.47", "47791", "0.314", "31415", "51.53", "0.271"):
            assert digits not in text
    assert "51.5" not in said[0][0].text, "the page says nothing of where it is"
    venue = said[0][3].json()["venue"]
    assert (venue["latitude"], venue["longitude"]) == (51.5, -0.3)


def test_exact_coordinates_are_on_all_of_a_sheet_that_may_tell_them(demo):
    change(demo, tables.Venue, latitude=51.47791, longitude=-0.31415)
    with demo.client.app.state.book.writing() as session:
        changed_at(session, 1)
    path, feed, reader = linked(demo, exact="1"), linked(demo, kind="calendar", exact="1"), stranger(demo)
    page = reader.get(path)
    assert "51.47791, −0.31415" in page.text
    assert "geo:51.47791,-0.31415" in page.links
    assert "51.47791, −0.31415" in pages_of(reader.client.get(path + "/sheet.pdf").content)[0][0]
    venue = reader.client.get(path + "/sheet.json").json()["venue"]
    assert (venue["latitude"], venue["longitude"]) == (51.47791, -0.31415)
    assert "GEO:51.47791;-0.31415" in reader.client.get(feed).text


# Links.


def test_only_what_a_link_hashes_to_is_kept(demo):
    token = linked(demo).rpartition("/")[2]
    assert len(token) == 43, "256 bits"
    (row,) = demo.rows(tables.SharedLink)
    assert row.hash == hashed(token)
    assert not any(token in repr(rows) for rows in demo.book().values())
    assert token not in demo.get("/days/1/sheet").source


def test_an_ended_link_shows_nothing_from_then_on_and_the_others_stay(demo):
    gone, stays = linked(demo), linked(demo, name="the second planner")
    reader = stranger(demo)
    assert reader.client.get(gone).status_code == 200
    first = demo.rows(tables.SharedLink)[0].id
    assert demo.keep(f"/days/1/links/{first}/end") == "/days/1/sheet#links"
    for end in SHEET_ENDS:
        answer = reader.client.get(gone + end)
        assert answer.status_code == 404, end
        assert "was ended" in answer.text
        assert answer.headers["cache-control"] == "no-store"
    assert reader.client.get(stays).status_code == 200
    assert demo.post(f"/days/1/links/{first}/end").status_code == 404


def test_every_link_that_is_none_is_answered_alike(demo):
    """Nobody learns whether one was ever there."""
    path, feed = linked(demo), linked(demo, kind="calendar").removesuffix("/order.ics")
    ended = linked(demo)
    demo.keep(f"/days/1/links/{demo.rows(tables.SharedLink)[-1].id}/end")
    asked = [path[:-1], path + "x", ended, "/s/" + "A" * 43, "/s/%00", feed.replace("/c/", "/s/")]
    answers = [stranger(demo).client.get(each) for each in asked]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.text for answer in answers}) == 1
    assert stranger(demo).client.get(path.replace("/s/", "/c/") + "/order.ics").text == answers[0].text


@pytest.mark.parametrize(
    ("lasts", "until"),
    [
        ("after", datetime(2026, 6, 27, 23, tzinfo=UTC)),
        ("month", datetime(2026, 7, 1, 12, tzinfo=UTC)),
        ("ended", None),
    ],
)
def test_how_long_a_link_lasts(lasts, until):
    """A week after a day in London's summer ends an hour before midnight in UTC."""
    now = datetime(2026, 6, 1, 12, tzinfo=UTC)
    assert lasts_until(lasts, datetime(2026, 6, 20, tzinfo=UTC).date(), "Europe/London", now) == until


def test_a_link_that_has_run_out_shows_nothing_and_is_not_in_the_list(demo):
    path = linked(demo)
    change(demo, tables.SharedLink, expires_at=datetime.now(UTC) - timedelta(seconds=1))
    assert stranger(demo).client.get(path).status_code == 404
    assert "the planner:" not in demo.get("/days/1/sheet").text
    linked(demo, lasts="ended")
    assert len(demo.rows(tables.SharedLink)) == 1, "the next one clears it away"


def test_the_crew_sees_which_links_there_are_and_when_each_was_opened_last(demo):
    path = linked(demo, name="Hall, for the door", exact="1")
    assert "not opened yet" in demo.get("/days/1/sheet").text
    stranger(demo).get(path)
    text = " ".join(demo.get("/days/1/sheet").text.split())
    assert "Hall, for the door : the sheet, with coordinates" in text
    assert "last opened just now" in text
    used = demo.rows(tables.SharedLink)[0].used_at
    stranger(demo).get(path)
    assert demo.rows(tables.SharedLink)[0].used_at == used, "not a write for every reader"
    change(demo, tables.SharedLink, used_at=used - USED_EVERY)
    stranger(demo).get(path)
    assert demo.rows(tables.SharedLink)[0].used_at > used - USED_EVERY


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [({"name": ""}, "name"), ({"name": "a" * 81}, "name"), ({"kind": "kit"}, "kind"), ({"lasts": "ever"}, "lasts")],
)
def test_a_wrong_link_has_a_word_beside_its_field(demo, fields, wrong):
    page = demo.refused("/days/1/links", **{"kind": "sheet", "name": "<b>me</b>", "lasts": "after", **fields})
    assert wrong in page.refused
    assert "<b>me" not in page.source


def test_a_day_has_only_so_many_links(demo):
    with demo.client.app.state.book.writing() as session:
        for number in range(LINKS_MOST):
            session.add(tables.SharedLink(day_id=1, hash=f"{number}", kind="sheet", exact=False, name="x", made_by="x",
                                          made_at=datetime.now(UTC)))  # fmt: skip
    page = demo.refused("/days/1/links", kind="sheet", name="one more", lasts="after")
    assert "end some first" in page.refused["name"]


def test_another_crew_makes_and_ends_no_link_to_this_ones_day(demo):
    path = linked(demo)
    other = somebody(demo, "lead", "Tom", another_crew(demo))
    number = demo.rows(tables.SharedLink)[0].id
    for to in ("/days/1/links", f"/days/1/links/{number}/end"):
        assert other.post(to, kind="sheet", name="mine", lasts="after").status_code == 404
    for end in ("sheet", "sheet.pdf", "card.pdf", "sheet.json"):
        assert other.client.get(f"/days/1/{end}").status_code == 404
    assert stranger(demo).client.get(path).status_code == 200
    assert len(demo.rows(tables.SharedLink)) == 1


def test_a_link_is_ended_on_its_own_day_alone(demo):
    linked(demo)
    venue = demo.rows(tables.Venue)[0].id
    day = demo.day(venue, demo.rows(tables.Kit)[0].id, "Another day")
    number = demo.rows(tables.SharedLink)[0].id
    assert demo.post(f"/days/{day}/links/{number}/end").status_code == 404
    assert len(demo.rows(tables.SharedLink)) == 1


def test_a_guest_sees_the_sheet_and_makes_no_link(demo):
    guest = somebody(demo, "guest")
    page = guest.get("/days/1/sheet")
    assert "Vows" in page.text
    assert not page.forms
    assert guest.post("/days/1/links", kind="sheet", name="x", lasts="after").status_code == 403


def test_guesses_are_counted_apart_from_those_of_codes_and_a_whole_link_opens_all_the_same(demo):
    path, guesser = linked(demo), stranger(demo)
    for _ in range(WRONG_MOST):
        assert guesser.client.get("/s/" + "B" * 43).status_code == 404
    assert guesser.client.get("/s/" + "B" * 43).status_code == 429
    assert guesser.client.get("/c/" + "B" * 43 + "/order.ics").status_code == 429
    assert guesser.client.get(path).status_code == 200
    assert guesser.post("/pair", code="AAAA-AAAA").status_code == 422, "a code may still be typed"


def test_what_a_link_shows_is_left_alone_by_search_engines_and_other_sites(demo):
    path, feed = linked(demo), linked(demo, kind="calendar")
    for each in (*(path + end for end in SHEET_ENDS), feed, "/s/none"):
        headers = stranger(demo).client.get(each).headers
        assert headers["x-robots-tag"] == "noindex, nofollow", each
        assert headers["referrer-policy"] == "same-origin"
        assert "no-" in headers["cache-control"]
        assert "public" not in headers["cache-control"]


def test_a_page_for_strangers_runs_no_script(demo):
    assert "<script" not in stranger(demo).get(linked(demo)).source


def test_a_sheet_of_a_kit_that_was_taken_apart_says_so_and_nothing_of_the_kit(demo):
    path, feed, reader = linked(demo), linked(demo, kind="calendar"), stranger(demo)
    with demo.client.app.state.book.writing() as session:
        kit = session.get_one(tables.Kit, 1)
        kit.bodies.clear()
        kit.stamp = tables.new_stamp()
    for each in (*(path + end for end in SHEET_ENDS), feed):
        answer = reader.client.get(each)
        assert answer.status_code == 503, each
        assert "Shoulder bag" not in answer.text


# On paper.


def test_the_sheet_is_a4_and_the_card_a6_by_iso_216_and_the_code_on_both_opens_it(demo):
    """ISO 216: A4 is 210 by 297 mm, A6 105 by 148. The codes are read by another hand than the writer's."""
    path, reader = linked(demo), stranger(demo)
    for end, size in (("/sheet.pdf", (210, 297)), ("/card.pdf", (105, 148))):
        answer = reader.client.get(path + end)
        assert answer.headers["content-type"] == "application/pdf"
        for words, paper in pages_of(answer.content):
            assert paper == pytest.approx(size, abs=0.1)
            assert "Midsummer wedding" in words
        assert codes_of_pdf(answer.content) == [HERE + path]


def test_the_crews_own_print_has_no_code_and_the_same_words(demo):
    path = linked(demo, exact="1")
    for own, end in (("/days/1/sheet.pdf", "/sheet.pdf"), ("/days/1/card.pdf", "/card.pdf")):
        mine = demo.client.get(own)
        assert codes_of_pdf(mine.content) == []
        theirs = pages_of(stranger(demo).client.get(path + end).content)[0][0]
        there = theirs.replace("Scan for the sheet as it stands now.", "").split()
        assert pages_of(mine.content)[0][0].split() == there
    assert demo.client.get("/days/1/sheet.json").text == stranger(demo).client.get(path + "/sheet.json").text


def test_the_same_sheet_is_the_same_bytes(demo):
    from server.pages.sheet_pdf import pdf_of  # noqa: PLC0415 - its memory is emptied

    path, reader = linked(demo), stranger(demo)
    first = reader.client.get(path + "/sheet.pdf").content
    pdf_of.cache_clear()
    assert reader.client.get(path + "/sheet.pdf").content == first


def test_a_long_order_goes_on_to_more_sheets_with_its_head_on_each(site):
    """A hundred stops with words as long as they may be, of letters that no space parts; none is lost."""
    day, _ = site.day_at(8, 9)
    lines = {}
    for n in range(100):
        lines |= {f"at_{n}": f"{6 + n // 6:02}:{n % 6 * 10:02}", f"name_{n}": f"{n:03}" + "W" * 77, f"place_{n}": "1",
                  f"notes_{n}": "ø" * 500}  # fmt: skip
    site.keep(f"/days/{day}/order", **lines)
    path, reader = linked(site, day), stranger(site)
    for end, size in (("/sheet.pdf", (210, 297)), ("/card.pdf", (105, 148))):
        pages = pages_of(reader.client.get(path + end).content)
        assert len(pages) > 4
        assert all(paper == pytest.approx(size, abs=0.1) for _, paper in pages)
        assert all("The wedding" in words for words, _ in pages)
        assert f"{len(pages)} / {len(pages)}" in pages[-1][0]
        whole = "".join(words for words, _ in pages)
        assert all(f"{n:03}W" in whole for n in range(100))


def test_words_of_any_script_are_printed_or_boxed_and_never_an_error(site):
    names = (
        "Ætherhøj 𝔸",
        "Καλή",
        "Свадьба",
        "結婚式",
        "עברית",
        "مرحبا",
        "🎥🎥",
        "<script>alert(1)</script>",
        "**bold** __u__",
    )
    venue = site.venue(name="<script>alert(1)</script>")
    places = [site.place(venue, name, 9) for name in names]
    day = site.day(venue, site.kit(), name="🎬 <b>")
    lines = {}
    for n, place in enumerate(places):
        lines |= {f"at_{n}": f"{9 + n:02}:00", f"place_{n}": str(place), f"name_{n}": names[n]}
    site.keep(f"/days/{day}/order", **lines)
    path, reader = linked(site, day), stranger(site)
    page = reader.get(path)
    assert "<script" not in page.source
    for end in ("/sheet.pdf", "/card.pdf"):
        ((words, _),) = pages_of(reader.client.get(path + end).content)
        for name in ("Ætherhøj", "Καλή", "Свадьба", "<script>alert(1)</script>", "**bold** __u__"):
            assert name in words


def test_the_code_on_the_page_that_shows_a_link_is_the_link(demo):
    """Drawn as a browser does, read by another hand than the writer's."""
    answer = demo.post("/days/1/links", kind="calendar", name="me", lasts="month")
    link = re.search(rf'value="({HERE}/c/[^"]+)"', answer.text)[1]
    assert codes_of(drawn(re.search(r"<svg.*?</svg>", answer.text, re.DOTALL)[0])) == [link]
    assert f'href="webcal://localhost/{link.removeprefix(HERE + "/")}"' in answer.text


def drawn(svg):
    """The picture of a code of our SVG: strokes of one module, each M, m and h of its path."""
    side = int(re.search(r'viewBox="0 0 (\d+)', svg)[1])
    path = re.search(r'class="qrline"[^>]* d="([^"]+)"|<path[^>]* d="([^"]+)"[^>]*class="qrline"', svg)
    picture = Image.new("L", (side, side), 255)
    x = y = 0.0
    for do, figures in re.findall(r"([Mmh])([-\d. ]+)", path[1] or path[2]):
        given = [float(each) for each in figures.split()]
        if do == "h":
            for dot in range(int(given[0])):
                picture.putpixel((int(x) + dot, int(y)), 0)
            x += given[0]
        else:
            x, y = (given[0], given[1]) if do == "M" else (x + given[0], y + given[1])
    return picture.resize((side * 8, side * 8), Image.Resampling.NEAREST)


# The calendar.


def events_in(text):
    calendar = icalendar.Calendar.from_ical(text)
    return calendar, list(calendar.walk("VEVENT"))


def test_rfc_5545_a_subscription_has_stable_names_and_says_when_it_has_changed(demo):
    """3.8.4.7: UIDs stay; 3.8.7.4: a revision counts up; 3.8.7.3: LAST-MODIFIED in UTC; RFC 7986, 5.7: when to ask again."""
    path, reader = linked(demo, kind="calendar"), stranger(demo)
    answer = reader.client.get(path)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    calendar, before = events_in(answer.text)
    assert calendar["X-WR-CALNAME"] == "Midsummer wedding"
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT15M" in answer.text
    assert "X-PUBLISHED-TTL:PT15M" in answer.text
    assert [event["UID"] for event in before] == [row.uid for row in demo.rows(tables.Stop)]
    assert {event["SEQUENCE"] for event in before} == {0}
    assert all(event["LAST-MODIFIED"].dt.utcoffset() == timedelta(0) for event in before)
    first = demo.rows(tables.Stop)[0]
    demo.keep("/days/1/order/shifts", event_id=new_id(), stop=str(first.id), minutes="20")
    _, after = events_in(reader.client.get(path).text)
    assert [event["UID"] for event in after] == [event["UID"] for event in before]
    assert {event["SEQUENCE"] for event in after} == {1}
    assert after[0]["DTSTART"].dt - before[0]["DTSTART"].dt == timedelta(minutes=20)
    demo.keep("/days/1/undo", event_id=new_id(), event=demo.rows(tables.Event)[-1].id)
    _, back = events_in(reader.client.get(path).text)
    assert {event["SEQUENCE"] for event in back} == {2}, "taken back is one more change"


def test_a_calendar_that_has_not_changed_is_not_sent_again(demo):
    """RFC 9110, 13.1.2. A nudge changes nothing that a calendar says."""
    path, reader = linked(demo, kind="calendar"), stranger(demo)
    first = reader.client.get(path)
    tag = first.headers["etag"]
    assert demo.tap(1, 1).status_code == 303
    demo.keep("/days/1/nudges", event_id=new_id(), place="1", clicks="-1")
    again = reader.client.get(path, headers={"if-none-match": f'"other", {tag}'})
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert reader.client.get(path).content == first.content
    change(demo, tables.Stop, name="Somewhere else")
    with demo.client.app.state.book.writing() as session:
        changed_at(session, 1)
    moved = reader.client.get(path, headers={"if-none-match": tag})
    assert (moved.status_code, moved.headers["etag"] == tag) == (200, False)


def test_an_ended_subscription_is_gone(demo):
    path = linked(demo, kind="calendar")
    demo.keep(f"/days/1/links/{demo.rows(tables.SharedLink)[0].id}/end")
    assert stranger(demo).client.get(path).status_code == 404


def test_the_published_schema_is_everybodys(demo):
    answer = stranger(demo).client.get("/api/sheet.schema.json")
    assert answer.headers["content-type"] == "application/schema+json"
    assert answer.json()["properties"]["format"]["const"] == "lychgate-sheet"


def test_the_pages_lead_to_the_sheet(demo):
    assert "/days/1/sheet" in demo.get("/days/1").links
    assert "/days/1/sheet" in demo.get("/days/1/plan").links
    assert "/sheets/new" in demo.get("/").links
