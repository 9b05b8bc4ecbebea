"""Prints the events of a calendar that is read from standard input, as a reference to compare with.

The input is JSON: the calendar as one text. The output is JSON too: version, and events, a list of uid, summary, location, and starts and ends in UTC.
"""

import datetime
import json
import sys

import icalendar


def utc(moment):
    return moment.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


calendar = icalendar.Calendar.from_ical(json.load(sys.stdin).encode("utf-8"))
events = [
    {
        "uid": str(event["UID"]),
        "summary": str(event["SUMMARY"]),
        "location": str(event["LOCATION"]),
        "starts": utc(event.decoded("DTSTART")),
        "ends": utc(event.decoded("DTEND")),
    }
    for event in calendar.walk("VEVENT")
]
json.dump({"version": "icalendar " + icalendar.__version__, "events": events}, sys.stdout)
