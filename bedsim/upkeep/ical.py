"""The calendar of jobs as an iCalendar file, [RFC5545], the same bytes from the same scenario."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator, Sequence

from bedsim.upkeep.calendar import CAUTIONS, Chore, day_after
from bedsim.upkeep.use import DAYS_A_MONTH

LONGEST_LINE = 75
"""Octets of a line without its end; [RFC5545] section 3.1."""
LATEST_DAY = 28
"""Of a month in a monthly rule: months without the day would be left out (section 3.3.10)."""


def calendar_file(title: str, chores: Sequence[Chore], start: datetime.date) -> bytes:
    """Return the file: one all-day event for every job, with its rule; times of making are the first day."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//bedsim//upkeep//EN",
        f"X-WR-CALNAME:{escaped(title)}",
        *(line for chore in chores for line in _event(title, chore, start)),
        "END:VCALENDAR",
    ]
    return "".join(f"{folded(line)}\r\n" for line in lines).encode()


def _event(title: str, chore: Chore, start: datetime.date) -> Iterator[str]:
    day = day_after(start, chore.first)
    rule = "" if chore.every is None else _rule(chore.every)
    if "MONTHLY" in rule:
        day = day.replace(day=min(day.day, LATEST_DAY))
    mark = hashlib.sha256(f"{title}\n{chore.name}\n{start}\n{day}".encode()).hexdigest()[:32]
    yield "BEGIN:VEVENT"
    yield f"UID:{mark}@bedsim"
    yield f"DTSTAMP:{start:%Y%m%d}T000000Z"
    yield f"DTSTART;VALUE=DATE:{day:%Y%m%d}"
    if rule:
        yield f"RRULE:{rule}"
    yield f"SUMMARY:{escaped(chore.name)}"
    yield f"DESCRIPTION:{escaped(described(chore))}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def described(chore: Chore) -> str:
    """Why and how, and what to beware of."""
    cautions = "; ".join(CAUTIONS[name] for name in chore.cautions)
    return f"Why: {chore.why}.\nHow: {chore.how}.\nCaution: {cautions}."


def _rule(months: float) -> str:
    """A recurrence: whole months as months, others as days, rounded down; [RFC5545] section 3.3.10."""
    if months >= 1.0 and months == int(months):
        return f"FREQ=MONTHLY;INTERVAL={int(months)}"
    return f"FREQ=DAILY;INTERVAL={max(1, int(months * DAYS_A_MONTH))}"


def escaped(text: str) -> str:
    """Text as a value: backslash, semicolon, comma and line ends escaped, other control characters left
    out; [RFC5545] section 3.3.11."""
    for plain, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(plain, written)
    return "".join(c for c in text if c == "\t" or (ord(c) >= 0x20 and ord(c) != 0x7F))


def folded(line: str) -> str:
    """A line broken after at most 75 octets, never inside a character; [RFC5545] section 3.1."""
    parts, size = [""], 0
    for character in line:
        octets = len(character.encode())
        if size + octets > LONGEST_LINE:
            parts.append("")
            size = 1  # the space that begins the next line
        parts[-1] += character
        size += octets
    return "\r\n ".join(parts)
