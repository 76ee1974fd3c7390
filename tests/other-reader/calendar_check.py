"""Opens two work lists of `litrewise due --format ics` with another parser of
RFC 5545 and imports one after the other, as a calendar would.

    python calendar_check.py EARLIER.ics LATER.ics

A later list has to move events, never to double them: the same job has the same
UID and a higher SEQUENCE.
"""

import datetime
import sys

import icalendar


def events(path: str) -> dict[str, icalendar.Event]:
    with open(path, "rb") as file:
        calendar = icalendar.Calendar.from_ical(file.read())
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"], path
    found: dict[str, icalendar.Event] = {}
    for event in calendar.walk("VEVENT"):
        assert not event.errors, event.errors
        uid = str(event["UID"])
        assert uid not in found, f"{uid} twice in {path}"
        start, end = event.decoded("DTSTART"), event.decoded("DTEND")
        assert type(start) is datetime.date and end - start == datetime.timedelta(days=1)
        assert event.decoded("DTSTAMP").tzinfo is not None
        assert str(event["SUMMARY"]) and "competent people" in str(event["DESCRIPTION"])
        found[uid] = event
    assert found, f"no events in {path}"
    return found


def main() -> None:
    earlier, later = events(sys.argv[1]), events(sys.argv[2])
    same = earlier.keys() & later.keys()
    assert same, "no job is in both lists"
    moved = 0
    for uid in same:
        before, after = earlier[uid], later[uid]
        assert str(before["SUMMARY"]).split(":")[0] == str(after["SUMMARY"]).split(":")[0]
        assert after["SEQUENCE"] > before["SEQUENCE"], uid
        moved += before.decoded("DTSTART") != after.decoded("DTSTART")
    imported = {**earlier, **later}
    assert len(imported) == len(earlier) + len(later) - len(same)
    print(
        f"calendar: {len(earlier)} and {len(later)} events, {len(same)} the same jobs, {moved} of them moved"
    )


if __name__ == "__main__":
    main()
