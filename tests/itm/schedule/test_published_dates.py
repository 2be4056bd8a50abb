"""Dates and windows of the programmes against their published rows (topic i)."""

from datetime import date
from itertools import count, islice

from itm.core.clock import add_months
from itm.schedule.due import Window, cycles
from itm.schedule.loading import read
from tests.calc.published.rows import Cases, agree, inputs, published


def window_of_a_year():
    data = inputs("I-03")
    window = Window(data["min_months"], 12, data["max_months"])
    [cycle] = cycles(window, date.fromisoformat(data["last"]), [])
    return {
        "earliest": cycle.window_opens_on.isoformat(),
        "latest": cycle.latest_on.isoformat(),
    }


def month_ends():
    begun = [(2024, 1, 31, 1), (2023, 1, 31, 1), (2024, 2, 29, 12), (2024, 5, 31, 1)]
    made = [cycles(Window(0, n, n), date(y, m, d), [])[0].due_on for y, m, d, n in begun]
    return {"result": [day.isoformat() for day in made]}


def recurring(begun, months):
    """Every date from one day on, each counted from that day and not from the one before."""
    return (add_months(begun, months * turn) for turn in count())


def unclamped(begun, months, least):
    """Where our own rule keeps the day of the month, which is where RFC 5545 recurs at all."""
    kept = (day for day in recurring(begun, months) if day.day == begun.day)
    return list(islice(kept, least))


def twice_a_month():
    days = [day for begun in (15, 30) for day in unclamped(date(2007, 1, begun), 1, 5)]
    return {"dates": [day.isoformat() for day in sorted(days)[:5]]}


def month_by_month():
    begun = date(2025, 1, 31)
    return {
        "plain": [day.isoformat() for day in unclamped(begun, 1, 6)],
        "month_end": [day.isoformat() for day in islice(recurring(begun, 1), 6)],
        "leap": [day.isoformat() for day in unclamped(date(2024, 2, 29), 12, 3)],
    }


def windows(programme, interval):
    """Months of every row of one rhythm; they must all be the same."""
    rows = [row for row in read(programme)["rows"] if row["unit"] == "months"]
    found = {(r["earliest"], r["latest"]) for r in rows if r["interval"] == interval}
    [(earliest, latest)] = found
    return [earliest, latest]


def years(task, name):
    """Of the rows of ships for one kind of record."""
    rows = [row for row in read("imo-ships")["rows"] if row["task"] == task]
    [months] = {row[name] for row in rows}
    return months / 12


LAND = "us-nfpa25-foam-water"


def ships():
    return {
        "proportioner_years": years("proportioning_test", "interval"),
        "first_concentrate_years": years("concentrate_check", "first"),
        "then_years": years("concentrate_check", "interval"),
    }


CASES: Cases = {
    "I-01": lambda: {"quarterly_months": windows(LAND, 3)},
    "I-02": lambda: {"annual": windows(LAND, 12), "five_year": windows(LAND, 60)},
    "I-03": window_of_a_year,
    "I-04": month_ends,
    "I-05": twice_a_month,
    "I-06": ships,
    "I-07": month_by_month,
}


@published(CASES)
def test_dates_agree_with_the_published_ones(row_id):
    agree(row_id, CASES[row_id]())
