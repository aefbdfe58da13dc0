"""Numbers and days as people write them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, strategies as st

from faultodds.joblog import dates, money_and_time as amounts


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("140 min", 140),
        ("2.25 h", 135),
        ("1:20", 80),
        ("1h 10", 70),
        ("110", 110),
        ("-5", None),
        ("99 h", None),
        ("x", None),
    ],
)
def test_minutes(text: str, expected: float | None) -> None:
    """Minutes, hours and clock times; nothing below nought or beyond a day."""
    assert amounts.minutes(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("$303", 303),
        ("£1,240.50", 1240.5),
        ("269.37", 269.37),
        ("USD 40", 40),
        ("-40", None),
        ("99999", None),
        ("free", None),
    ],
)
def test_money(text: str, expected: float | None) -> None:
    """Signs and thousands marks; nothing that no repair costs."""
    assert amounts.money(text) == expected


def test_spans_end_where_the_next_begins() -> None:
    """Names such as to_8 say where a span ends, and whether the end belongs."""
    known = amounts.spans({"under_12": "", "to_36": "", "over_36": ""})
    assert known is not None
    assert [amounts.span_of(x, known) for x in (0, 11.9, 12, 36, 36.1)] == [
        "under_12",
        "under_12",
        "to_36",
        "to_36",
        "over_36",
    ]
    assert amounts.spans({"yes": "", "no": ""}) is None


DAY = dt.date(2022, 3, 1)


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2022-03-01", "month first", DAY),
        ("20220301", "month first", DAY),
        ("2022-03-01T14:30", "month first", DAY),
        ("Tue 1 Mar 2022", "month first", DAY),
        ("March 1st, 2022", "day first", DAY),
        ("03/01/2022", "month first", DAY),
        ("01/03/2022", "day first", DAY),
        ("1.3.22", "day first", DAY),
        ("13/03/2022", "month first", dt.date(2022, 3, 13)),
        ("44621", "month first", DAY),
        ("31/02/2022", "day first", None),
        ("1/1/1885", "day first", None),
        ("soon", "day first", None),
    ],
)
def test_days_in_many_hands(text: str, order: dates.Order, expected: dt.date | None) -> None:
    """Every common form; impossible days are none."""
    assert dates.parse(text, order) == expected


def test_a_day_to_come_is_none() -> None:
    """A log cannot hold what has not happened yet."""
    assert dates.parse("2022-03-02", latest=DAY) is None


def test_the_column_decides_which_number_is_the_month() -> None:
    """One date that can only be read one way decides for those that could be read both ways."""
    assert dates.decide({"01/03/2022": 9, "13/01/2022": 1}).order == "day first"
    month = dates.decide({"01/03/2022": 9, "01/13/2022": 1})
    assert (month.order, month.why) == ("month first", "1 dates can only be read so")
    assert not dates.decide({"01/03/2022": 9}).certain
    assert dates.decide({"2022-01-03": 4}).certain


@pytest.mark.parametrize("slip", ["30/02/2024", "31/04/2024", "31/12/1899", "29/02/2023"])
def test_a_day_that_never_was_decides_nothing(slip: str) -> None:
    """A slip says nothing of how the others are written."""
    decided = dates.decide({"01/03/2022": 9, slip: 1})
    assert (decided.order, decided.told, decided.certain) == ("month first", False, False)


@given(st.dates(dt.date(1990, 1, 1), dt.date(2060, 1, 1)))
def test_a_day_written_out_is_read_back(day: dt.date) -> None:
    """Whatever the hand, the day is the same when the order is known."""
    hands = [f"{day:%Y-%m-%d}", f"{day:%d %b %Y}", f"{day:%B %d, %Y}", f"{day.month}/{day.day}/{day.year}"]
    assert {dates.parse(hand, "month first") for hand in hands} == {day}
    assert dates.parse(f"{day:%d.%m.%Y}", "day first") == day
