"""The calendar as a file: RFC 5545's grammar written out, its rules read by dateutil, the same bytes
twice."""

import datetime
import re
from itertools import pairwise

import pytest
from dateutil.rrule import rrulestr
from upkeep_machine import ball

from bedsim.analysis.sizing_gather import gather
from bedsim.upkeep import calendar, ical
from bedsim.upkeep.calendar import Chore, Facts, chores, day_after
from bedsim.upkeep.use import use_of

START = datetime.date(2027, 1, 31)

# RFC 5545 section 3.1: contentline = name *(";" param ) ":" value CRLF
NAME = r"[A-Za-z0-9-]+"
PARAM = rf';{NAME}=(?:[^"\x00-\x08\x0a-\x1f\x7f;:,]*|"[^"\x00-\x08\x0a-\x1f\x7f]*")'
LINE = re.compile(rf"({NAME})((?:{PARAM})*):([^\x00-\x08\x0a-\x1f\x7f]*)")
# section 3.3.11: TEXT = *(TSAFE-CHAR / ":" / DQUOTE / ESCAPED-CHAR)
TEXT = re.compile(r"(?:[^\\;,\x00-\x08\x0a-\x1f\x7f]|\\[\\;,Nn])*")


def parsed(data: bytes) -> list[tuple[str, str, str]]:
    """Content lines (name, parameters, value) by the grammar, unfolded; nothing else is let through."""
    assert data.endswith(b"\r\n")
    physical = data[:-2].split(b"\r\n")
    for line in physical:
        assert b"\r" not in line
        assert b"\n" not in line
        assert len(line) <= 75
        line.decode()  # no character is cut
    found = []
    for line in data[:-2].decode().replace("\r\n ", "").split("\r\n"):
        match = LINE.fullmatch(line)
        assert match, line
        found.append(match.groups())
    return found


def unescaped(text: str) -> str:
    assert TEXT.fullmatch(text), text
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], text)


def events(data: bytes) -> list[dict[str, str]]:
    """Events as tables, after the frame's own rules: section 3.4 and 3.6."""
    lines = parsed(data)
    assert lines[0] == ("BEGIN", "", "VCALENDAR")
    assert lines[-1] == ("END", "", "VCALENDAR")
    assert [x[0] for x in lines].count("VERSION") == [x[0] for x in lines].count("PRODID") == 1
    assert ("VERSION", "", "2.0") in lines
    found, inside = [], None
    for name, params, value in lines[1:-1]:
        if (name, value) == ("BEGIN", "VEVENT"):
            assert inside is None
            inside = {}
        elif (name, value) == ("END", "VEVENT"):
            assert inside is not None
            assert {"UID", "DTSTAMP", "DTSTART;VALUE=DATE", "SUMMARY"} <= set(inside)
            found.append(inside)
            inside = None
        elif inside is not None:
            assert name + params not in inside  # each at most once
            inside[name + params] = value
    return found


def jobs(**keys: object) -> tuple[Chore, ...]:
    loaded = ball(**{"print.layers": 1200, "print.first_layer_nut_mm": 400, **keys})
    machine = gather(loaded)
    return chores(
        Facts(
            scenario=loaded.scenario,
            machine=machine,
            use=use_of(loaded, machine.duty),
            plain=None,
            ball_life=None,
            guide_life=None,
        )
    )


def test_the_file_is_an_icalendar():
    every = jobs()
    title = 'Upkeep: größe, "quoted"; back\\slash and a long, long name ' + "µ" * 80
    data = ical.calendar_file(title, every, START)
    found = events(data)
    assert len(found) == len(every)
    assert len({e["UID"] for e in found}) == len(found)
    name = next(value for key, _, value in parsed(data) if key == "X-WR-CALNAME")
    assert unescaped(name) == title
    for chore, event in zip(every, found, strict=True):
        assert unescaped(event["SUMMARY"]) == chore.name
        assert unescaped(event["DESCRIPTION"]) == ical.described(chore)
        assert event["DTSTAMP"] == "20270131T000000Z"
    assert data == ical.calendar_file(title, every, START)


def test_rules_repeat_as_told():
    """dateutil reads every rule: the first day, and days not farther apart than the job's own interval."""
    every = jobs()
    for chore, event in zip(every, events(ical.calendar_file("x", every, START)), strict=True):
        day = datetime.datetime.strptime(event["DTSTART;VALUE=DATE"], "%Y%m%d")
        assert day.date() <= day_after(START, chore.first)
        if chore.every is None:
            assert "RRULE" not in event
            continue
        three = rrulestr(event["RRULE"], dtstart=day)[:3]
        assert three[0] == day
        for one, other in pairwise(three):
            assert (other - one).days <= max(chore.every * 31, 1)
            assert (other - one).days >= chore.every * 28 - 1 or (other - one).days == 1


@pytest.mark.parametrize(
    ("months", "day"),
    [
        (1.0, (2027, 2, 28)),
        (12.0, (2028, 1, 31)),
        (13.0, (2028, 2, 29)),
        (0.5, (2027, 2, 15)),
        (0.001, (2027, 2, 1)),
        (24.0, (2029, 1, 31)),
    ],
)
def test_days_after_months(months, day):
    """Short months clip, parts of a month are days rounded down, at least one."""
    assert day_after(START, months) == datetime.date(*day)


def test_folding_never_cuts_a_character():
    line = "SUMMARY:" + "aµ€😀" * 40
    pieces = ical.folded(line).split("\r\n")
    assert all(len(p.encode()) <= 75 for p in pieces)
    assert all(len(p.encode()) > 70 for p in pieces[:-1])
    assert "".join([pieces[0], *(p[1:] for p in pieces[1:])]) == line


def test_jobs_follow_the_use():
    """1200 layers a print, 8 prints a month: 5,000 strokes are 4.2 prints; twice the prints, half of it."""
    runs = [next(c for c in jobs(**keys) if "over its height" in c.name) for keys in ({}, TWICE)]
    assert runs[0].first == pytest.approx(5000 / 1200 / 8)
    assert runs[1].first == pytest.approx(runs[0].first / 2)
    assert not runs[0].by_hand
    hopping = next(c for c in jobs(**{"upkeep.hops_per_layer": 20}) if "over its height" in c.name)
    assert "before and after every print" in hopping.why


TWICE = {"upkeep.prints_a_month": 16}


def test_every_job_says_how_and_warns():
    """Where hands go in the power is off and the bed propped; joints with magnets and solvents are named."""
    for chore in jobs():
        assert chore.why
        assert chore.how
        assert calendar.OFF in chore.cautions or calendar.MOVES in chore.cautions
        assert set(chore.cautions) <= set(calendar.CAUTIONS)
        if "grease" in chore.how and "wipe" in chore.how and "clean" in chore.how:
            assert calendar.SOLVENTS in chore.cautions
    joints = next(c for c in jobs() if "joints" in c.name)
    assert calendar.MAGNETS in joints.cautions
    assert "propped" in calendar.CAUTIONS[calendar.OFF]
