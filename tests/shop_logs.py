"""Small logs for tests, written by hand in the hands of invented shops."""

from __future__ import annotations

from pathlib import Path

HEADINGS = "ticket,cust,date,hood,t_fuse,parts,result"
ROWS = (
    "J1,C1,2022-01-03,weak,ok,cleaned vent,done",
    "J2,C2,2022-01-05,strong,OL,thermal fuse,cb",
    "J3,C3,2022-01-09,ok,closed,coils,done",
)

# Another hand: semicolons, day before month, pounds, names and telephone numbers, whole sentences.
SEASIDE = """\
Work order;Client name;Phone;Service date;Engineer;Machine age (yrs);Gas type;Problem reported;Lint filter;\
Outside vent;Igniter (ohms);Thermal cutoff;Gas valve coils;Work done;Time on job;Invoice total;Test run;Status
W-201;Ana Example;555-010-2301;13/01/2022;Joan Sample;6;Natural gas;Clothes still damp after two cycles, top very hot;\
Full of lint;Flap stuck;180;Continuity;1.2k/1.35k/560;Vent cleaning;1:30;£142.50;Dried fine;Completed
W-202;Bo Testman;555-010-2302;14/01/2022;Jim Trial;11 years;Bottled;No heat at all;Clean;Opens fully;OL;Good;OK;\
Replaced igniter;45 mins;£120;Dries;Completed
W-203;Cy Placeholder;555-010-2303;03/02/2022;Joan Sample;3;Natural gas;Dryer heats then goes cold. Loud squeal;Clean;\
Strong;210;Closed;OK;Gas valve coils, drum rollers;2 hrs;£260.00;Dries;Callback
W-204;Di Specimen;555-010-2304;05/02/2022;Jim Trial;15;Natural;Does not heat;Torn;Weak;190;Blown;Good;\
Thermal fuse and cleaned ducting;75 min;£175;Still damp;Completed
W-205;Cy Placeholder;555-010-2303;12/02/2022;Jim Trial;3;Natural gas;burner glows but no flame;Clean;Strong;205;Closed;\
one open;Coil kit;40;£95;Dried fine;Completed
W-206;Ed Mockup;555-010-2305;22/02/2022;Joan Sample;8 yrs;Natural gas;Takes forever to dry, call 555-010-2305 first;\
Residue, water pools;Hardly any air;;OK;;Washed lint screen, cleaned vent;1h 10;£110;Good;Customer declined
W-207;Fay Dummy;555-010-2306;01/03/2022;Joan Sample;;Natural gas;Stops early on auto with damp clothes;;;;;;\
Cleaned sensor bars;20 min;£60;;Completed
"""


def log_text(*rows: str, headings: str = HEADINGS) -> str:
    """Headings and rows as one text."""
    return "\n".join([headings, *rows]) + "\n"


def write(path: Path, content: str | bytes) -> Path:
    """Write a test file."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path


ZINGY = [f"J{n},C{n},2022-01-{n + 5:02},zingy,ok,coils,done" for n in range(4, 9)]
"""Jobs with a word that is nobody's, often enough to be no one's name."""


def small_log(folder: Path, *more: str) -> Path:
    """A sound log of three jobs, and any further rows."""
    return write(folder / "jobs.csv", log_text(*ROWS, *more))
