"""
RFC 5545 (iCalendar): its own examples, quoted from memory, each with the dates that are printed beneath it.

Names of people, firms and events in the objects of section 4 are replaced by neutral words; times and structure stay.
The recurrence rules are read by what the calendar's process runs, without starting one for each.
"""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from server.door import calendar_child
from server.door.calendars import ENTRIES_MOST, EVENTS_MOST, read_calendar

NEW_YORK = ZoneInfo("America/New_York")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def printed(text, hour="09:00"):
    """
    Times as the standard prints them: "1997 Sep 2,9 Oct 7-9" are five days, at this hour of New York's clock.

    "Sep 2 9:00,9:30" has hours of its own.
    """
    times, year, month = [], 0, 0
    day = None
    for word in text.split():
        if len(word) == 4 and word.isdigit():
            year = int(word)
        elif word in MONTHS:
            month = MONTHS.index(word) + 1
        elif ":" in word:
            times += [
                datetime(year, month, day, *map(int, each.split(":")), tzinfo=NEW_YORK) for each in word.split(",")
            ]
            day = None
        else:
            for part in word.split(","):
                first, _, last = part.partition("-")
                for each in range(int(first), int(last or first) + 1):
                    day = each
                    if ":" in hour:
                        times.append(datetime(year, month, day, *map(int, hour.split(":")), tzinfo=NEW_YORK))
    return times


def file_of(*lines):
    head = ("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Example//EN", "BEGIN:VEVENT", "UID:one@example.com")
    return "\r\n".join([*head, *lines, "END:VEVENT", "END:VCALENDAR", ""]).encode()


def starts(data, first, last):
    """When the entries start that begin within two years' Januaries."""
    header = {
        "zone": NEW_YORK.key, "first": f"{first}-01-01T00:00:00-05:00", "last": f"{last}-01-01T00:00:00-05:00",
        "events_most": EVENTS_MOST, "entries_most": ENTRIES_MOST,
    }  # fmt: skip
    answer = calendar_child.answer_for(data, header)
    assert answer["unread"] == []
    return [datetime.fromisoformat(entry[0]).astimezone(NEW_YORK) for entry in answer["entries"]]


IN_FOUR_MONTHS = "1997 Sep 2-30 Oct 1-31 Nov 1-30 Dec 1-23"
JANUARIES = "1998 Jan 1-31 1999 Jan 1-31 2000 Jan 1-31"
FIVE_WEEKS = "1997 Sep 2,4,9,11,16,18,23,25,30 Oct 2"

# Example, its first time where it is not 1997-09-02 09:00, the rule, and the dates. Where the standard prints "...", the
# list ends, and so does what is compared.
RULES = [
    ("daily for 10 occurrences", "", "FREQ=DAILY;COUNT=10", "1997 Sep 2-11"),
    ("daily until December 24", "", "FREQ=DAILY;UNTIL=19971224T000000Z", IN_FOUR_MONTHS),
    ("every other day, forever", "", "FREQ=DAILY;INTERVAL=2",
     "1997 Sep 2,4,6,8,10,12,14,16,18,20,22,24,26,28,30 Oct 2,4,6,8,10,12,14,16,18,20,22,24,26,28,30 Nov 1,3,5,7,9,11,13,15,17,19,21,23,25,27,29 Dec 1,3..."),
    ("every 10 days, 5 occurrences", "", "FREQ=DAILY;INTERVAL=10;COUNT=5", "1997 Sep 2,12,22 Oct 2,12"),
    ("every day in January, for 3 years", "19980101", "FREQ=YEARLY;UNTIL=20000131T140000Z;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA", JANUARIES),
    ("the same by days", "19980101", "FREQ=DAILY;UNTIL=20000131T140000Z;BYMONTH=1", JANUARIES),
    ("weekly for 10 occurrences", "", "FREQ=WEEKLY;COUNT=10", "1997 Sep 2,9,16,23,30 Oct 7,14,21,28 Nov 4"),
    ("weekly until December 24", "", "FREQ=WEEKLY;UNTIL=19971224T000000Z",
     "1997 Sep 2,9,16,23,30 Oct 7,14,21,28 Nov 4,11,18,25 Dec 2,9,16,23"),
    ("every other week, forever", "", "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
     "1997 Sep 2,16,30 Oct 14,28 Nov 11,25 Dec 9,23 1998 Jan 6,20 Feb 3,17..."),
    ("Tuesday and Thursday for five weeks", "", "FREQ=WEEKLY;UNTIL=19971007T000000Z;WKST=SU;BYDAY=TU,TH", FIVE_WEEKS),
    ("the same by count", "", "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH", FIVE_WEEKS),
    ("every other week on three days", "19970901", "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
     "1997 Sep 1,3,5,15,17,19,29 Oct 1,3,13,15,17,27,29,31 Nov 10,12,14,24,26,28 Dec 8,10,12,22"),
    ("every other week on two days, 8 times", "", "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH", "1997 Sep 2,4,16,18,30 Oct 2,14,16"),
    ("first Friday, 10 times", "19970905", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
     "1997 Sep 5 Oct 3 Nov 7 Dec 5 1998 Jan 2 Feb 6 Mar 6 Apr 3 May 1 Jun 5"),
    ("first Friday until December 24", "19970905", "FREQ=MONTHLY;UNTIL=19971224T000000Z;BYDAY=1FR", "1997 Sep 5 Oct 3 Nov 7 Dec 5"),
    ("every other month, first and last Sunday", "19970907", "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
     "1997 Sep 7,28 Nov 2,30 1998 Jan 4,25 Mar 1,29 May 3,31"),
    ("second-to-last Monday for 6 months", "19970922", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "1997 Sep 22 Oct 20 Nov 17 Dec 22 1998 Jan 19 Feb 16"),
    ("third-to-last day of the month", "19970928", "FREQ=MONTHLY;BYMONTHDAY=-3", "1997 Sep 28 Oct 29 Nov 28 Dec 29 1998 Jan 29 Feb 26..."),
    ("2nd and 15th, 10 times", "", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15", "1997 Sep 2,15 Oct 2,15 Nov 2,15 Dec 2,15 1998 Jan 2,15"),
    ("first and last day, 10 times", "19970930", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
     "1997 Sep 30 Oct 1,31 Nov 1,30 Dec 1,31 1998 Jan 1,31 Feb 1"),
    ("every 18 months, 10th to 15th", "19970910", "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15", "1997 Sep 10-15 1999 Mar 10-13"),
    ("every Tuesday, every other month", "", "FREQ=MONTHLY;INTERVAL=2;BYDAY=TU",
     "1997 Sep 2,9,16,23,30 Nov 4,11,18,25 1998 Jan 6,13,20,27 Mar 3,10,17,24,31..."),
    ("yearly in June and July", "19970610", "FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
     "1997 Jun 10 Jul 10 1998 Jun 10 Jul 10 1999 Jun 10 Jul 10 2000 Jun 10 Jul 10 2001 Jun 10 Jul 10"),
    ("every other year in three months", "19970310", "FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3",
     "1997 Mar 10 1999 Jan 10 Feb 10 Mar 10 2001 Jan 10 Feb 10 Mar 10 2003 Jan 10 Feb 10 Mar 10"),
    ("every third year, three days of the year", "19970101", "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
     "1997 Jan 1 Apr 10 Jul 19 2000 Jan 1 Apr 9 Jul 18 2003 Jan 1 Apr 10 Jul 19 2006 Jan 1"),
    ("20th Monday of the year", "19970519", "FREQ=YEARLY;BYDAY=20MO", "1997 May 19 1998 May 18 1999 May 17..."),
    ("Monday of week 20", "19970512", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "1997 May 12 1998 May 11 1999 May 17..."),
    ("every Thursday in March", "19970313", "FREQ=YEARLY;BYMONTH=3;BYDAY=TH",
     "1997 Mar 13,20,27 1998 Mar 5,12,19,26 1999 Mar 4,11,18,25..."),
    ("every Thursday in summer", "19970605", "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8",
     "1997 Jun 5,12,19,26 Jul 3,10,17,24,31 Aug 7,14,21,28 1998 Jun 4,11,18,25 Jul 2,9,16,23,30 Aug 6,13,20,27 1999 Jun 3,10,17,24 Jul 1,8,15,22,29 Aug 5,12,19,26..."),
    ("first Saturday after the first Sunday", "19970913", "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
     "1997 Sep 13 Oct 11 Nov 8 Dec 13 1998 Jan 10 Feb 7 Mar 7 Apr 11 May 9 Jun 13..."),
    ("first Tuesday after a Monday in November", "19961105", "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
     "1996 Nov 5 2000 Nov 7 2004 Nov 2..."),
    ("third of three weekdays", "19970904", "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "1997 Sep 4 Oct 7 Nov 6"),
    ("second-to-last weekday", "19970929", "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
     "1997 Sep 29 Oct 30 Nov 27 Dec 30 1998 Jan 29 Feb 26 Mar 30..."),
    ("week starts on Monday", "19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997 Aug 5,10,19,24"),
    ("week starts on Sunday", "19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997 Aug 5,17,19,31"),
    ("February 30 is ignored", "20070115", "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007 Jan 15,30 Feb 15 Mar 15,30"),
]  # fmt: skip


@pytest.mark.parametrize(("begins", "rule", "dates"), [case[1:] for case in RULES], ids=[case[0] for case in RULES])
def test_rfc_5545_3_8_5_3_a_rule_gives_the_dates_that_are_printed_beneath_it(begins, rule, dates):
    expected = printed(dates.removesuffix("..."))
    found = starts(
        file_of(f"DTSTART;TZID=America/New_York:{begins or '19970902'}T090000", f"RRULE:{rule}"),
        expected[0].year,
        expected[-1].year + 1,
    )
    if dates.endswith("..."):
        assert len(found) >= len(expected)
        found = found[: len(expected)]
    assert found == expected
    assert {at.strftime("%H:%M") for at in found} == {"09:00"}, "the hour stays, whatever the clocks do"


TWENTY_MINUTES = ",".join(f"{hour}:{minute:02}" for hour in range(9, 17) for minute in (0, 20, 40))


@pytest.mark.parametrize(
    ("rule", "times"),
    [
        # As corrected by erratum 3883: the standard's own UNTIL, 17:00 in UTC, is one o'clock in New York.
        ("FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T210000Z", "1997 Sep 2 9:00,12:00,15:00"),
        ("FREQ=MINUTELY;INTERVAL=15;COUNT=6", "1997 Sep 2 9:00,9:15,9:30,9:45,10:00,10:15"),
        ("FREQ=MINUTELY;INTERVAL=90;COUNT=4", "1997 Sep 2 9:00,10:30,12:00,13:30"),
        (
            "FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40;COUNT=48",
            f"1997 Sep 2 {TWENTY_MINUTES} 3 {TWENTY_MINUTES}",
        ),
        (
            "FREQ=MINUTELY;INTERVAL=20;BYHOUR=9,10,11,12,13,14,15,16;COUNT=48",
            f"1997 Sep 2 {TWENTY_MINUTES} 3 {TWENTY_MINUTES}",
        ),
    ],
)
def test_rfc_5545_3_8_5_3_a_rule_within_the_day_gives_the_times_that_are_printed_beneath_it(rule, times):
    """The last two go on for ever there; the count, two days' worth, is ours."""
    data = file_of("DTSTART;TZID=America/New_York:19970902T090000", f"RRULE:{rule}")
    assert starts(data, 1997, 1998) == printed(times, hour="")


def test_rfc_5545_3_8_5_3_friday_the_13th_leaves_its_own_first_time_out():
    data = file_of(
        "DTSTART;TZID=America/New_York:19970902T090000",
        "EXDATE;TZID=America/New_York:19970902T090000",
        "RRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
    )
    assert starts(data, 1997, 2001) == printed("1998 Feb 13 Mar 13 Nov 13 1999 Aug 13 2000 Oct 13")


def test_rfc_5545_3_3_10_every_sunday_in_january_at_8_30_and_9_30_every_other_year():
    """The Sundays are the calendar's; the standard prints the order in which the parts of the rule are taken."""
    data = file_of(
        "DTSTART;TZID=America/New_York:19970105T083000",
        "RRULE:FREQ=YEARLY;INTERVAL=2;BYMONTH=1;BYDAY=SU;BYHOUR=8,9;BYMINUTE=30",
    )
    sundays = "1997 Jan 5 {0} 12 {0} 19 {0} 26 {0} 1999 Jan 3 {0} 10 {0} 17 {0} 24 {0} 31 {0}".format("8:30,9:30")
    assert starts(data, 1997, 2001) == printed(sundays, hour="")


# Section 4, and the time zones of 3.6.5

YEARS = datetime(1996, 1, 1, tzinfo=UTC), datetime(2000, 1, 1, tzinfo=UTC)


def test_rfc_5545_section_4_an_event_of_three_days():
    data = rb"""BEGIN:VCALENDAR
PRODID:-//Example//NONSGML Calendar Version 1.0//EN
VERSION:2.0
BEGIN:VEVENT
DTSTAMP:19960704T120000Z
UID:uid1@example.com
ORGANIZER:mailto:one@example.com
DTSTART:19960918T143000Z
DTEND:19960920T220000Z
STATUS:CONFIRMED
CATEGORIES:CONFERENCE
SUMMARY:A Fair
DESCRIPTION:A fair
  and exhibition\nHall of the Town\n
 By the River\, North
END:VEVENT
END:VCALENDAR
""".replace(b"\n", b"\r\n")
    (entry,) = read_calendar(data, *YEARS, "UTC").entries
    assert (entry.start, entry.end) == (
        datetime(1996, 9, 18, 14, 30, tzinfo=UTC),
        datetime(1996, 9, 20, 22, 0, tzinfo=UTC),
    )
    assert entry.name == "A Fair"
    assert entry.notes == "A fair and exhibition\nHall of the Town\nBy the River, North"


def test_rfc_5545_section_4_an_event_with_its_time_zone():
    """08:30 to 09:30 in March is Eastern Standard Time: five hours behind."""
    data = b"""BEGIN:VCALENDAR
PRODID:-//Example//Calendar//EN
VERSION:2.0
BEGIN:VTIMEZONE
TZID:America/New_York
BEGIN:STANDARD
DTSTART:19981025T020000
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:19990404T020000
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
END:VTIMEZONE
BEGIN:VEVENT
DTSTAMP:19980309T231000Z
UID:guid-1.example.com
ORGANIZER:mailto:one@example.com
ATTENDEE;RSVP=TRUE;ROLE=REQ-PARTICIPANT;CUTYPE=GROUP:
 mailto:group@example.com
DESCRIPTION:A review
CATEGORIES:MEETING
CLASS:PUBLIC
CREATED:19980309T130000Z
SUMMARY:Review
DTSTART;TZID=America/New_York:19980312T083000
DTEND;TZID=America/New_York:19980312T093000
LOCATION:Room 4350
END:VEVENT
END:VCALENDAR
""".replace(b"\n", b"\r\n")
    (entry,) = read_calendar(data, *YEARS, "America/New_York").entries
    assert (entry.start, entry.end) == (
        datetime(1998, 3, 12, 13, 30, tzinfo=UTC),
        datetime(1998, 3, 12, 14, 30, tzinfo=UTC),
    )
    assert (entry.name, entry.place, entry.notes) == ("Review", "Room 4350", "A review")
    assert f"{entry.start:%H:%M %Z}" == "08:30 EST"


def test_rfc_5545_section_4_tasks_journals_and_busy_times_are_no_entries():
    data = b"""BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Example//EN
BEGIN:VTODO
DTSTAMP:19980130T134500Z
SEQUENCE:2
UID:uid4@example.com
DUE:19980415T000000
STATUS:NEEDS-ACTION
SUMMARY:A task
BEGIN:VALARM
ACTION:AUDIO
TRIGGER:19980403T120000Z
REPEAT:4
DURATION:PT1H
END:VALARM
END:VTODO
BEGIN:VJOURNAL
DTSTAMP:19970324T120000Z
UID:uid5@example.com
STATUS:DRAFT
DESCRIPTION:Minutes
END:VJOURNAL
BEGIN:VFREEBUSY
UID:uid6@example.com
DTSTAMP:19970901T083000Z
DTSTART:19980313T141711Z
DTEND:19980410T141711Z
FREEBUSY:19980314T233000Z/19980315T003000Z
END:VFREEBUSY
END:VCALENDAR
""".replace(b"\n", b"\r\n")
    found = read_calendar(data, *YEARS, "UTC")
    assert (found.entries, found.elsewhere, found.whole_days, found.unread) == ((), 0, 0, ())


FICTITIOUS = """BEGIN:VTIMEZONE
TZID:Fictitious
LAST-MODIFIED:19870101T000000Z
BEGIN:STANDARD
DTSTART:19671029T020000
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10
TZOFFSETFROM:-0400
TZOFFSETTO:-0500
TZNAME:EST
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:19870405T020000
RRULE:FREQ=YEARLY;BYDAY=1SU;BYMONTH=4;UNTIL=19980404T070000Z
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
BEGIN:DAYLIGHT
DTSTART:19990424T020000
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=4
TZOFFSETFROM:-0500
TZOFFSETTO:-0400
TZNAME:EDT
END:DAYLIGHT
END:VTIMEZONE
"""


@pytest.mark.parametrize("described", ["before", "after"])
def test_rfc_5545_3_6_5_a_fictitious_zone_goes_by_what_the_file_says_of_it(described):
    """Its summer begins on April's first Sunday until 1998, and on the last one from 1999 on. It may stand anywhere."""
    noons = {"19970405": 17, "19970407": 16, "19971025": 16, "19971027": 17, "19990420": 17, "19990426": 16}
    events = "".join(
        f"BEGIN:VEVENT\nUID:{day}\nDTSTART;TZID=Fictitious:{day}T120000\nSUMMARY:{day}\nEND:VEVENT\n" for day in noons
    )
    parts = FICTITIOUS + events if described == "before" else events + FICTITIOUS
    data = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:x\n{parts}END:VCALENDAR\n".replace("\n", "\r\n").encode()
    found = read_calendar(data, *YEARS, "UTC")
    assert {entry.name: entry.start.hour for entry in found.entries} == noons
