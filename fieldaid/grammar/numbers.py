"""How numbers and years are said, and how written figures become those words.

The sources of number slots: whole numbers {low-high}, {percent}, {half} for stories, {year} (also decades).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

ONES = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
        "seventeen eighteen nineteen").split()
TENS = dict(zip(range(20, 100, 10), "twenty thirty forty fifty sixty seventy eighty ninety".split(),
                strict=True))
DECADES = dict(zip(range(10, 100, 10), ("tens twenties thirties forties fifties sixties seventies eighties "
                                        "nineties").split(), strict=True))
FIRST_YEAR, LAST_YEAR = 1800, 2029


def below_hundred(n: int) -> str:
    """42 -> "forty two"."""
    if n < 20:
        return ONES[n]
    return TENS[n - n % 10] + (f" {ONES[n % 10]}" if n % 10 else "")


def number_forms(n: int) -> list[str]:
    """The ways a whole number below 1000 is said, the usual one first: 15 -> fifteen, one five."""
    if n < 100:
        forms = [below_hundred(n)]
    else:
        rest = below_hundred(n % 100) if n % 100 else ""
        forms = [f"{ONES[n // 100]} hundred {rest}".strip()]
        if rest:
            forms.append(f"{ONES[n // 100]} hundred and {rest}")
        if n // 100 == 1:
            forms += [form.replace("one hundred", "a hundred", 1) for form in forms]
        if n % 100 >= 10:
            forms.append(f"{ONES[n // 100]} {below_hundred(n % 100)}")
    if n >= 10:
        digits = [ONES[int(digit)] for digit in str(n)]
        forms.append(" ".join(digits))
        if "zero" in digits:
            forms.append(" ".join("oh" if digit == "zero" else digit for digit in digits))
    return forms


def year_forms(year: int) -> list[str]:
    """The ways a year is said, the usual one first: 1958 -> nineteen fifty eight, one nine five eight."""
    century, rest = divmod(year, 100)
    digits = " ".join(ONES[int(digit)] for digit in str(year))
    forms = []
    if 2000 <= year < 2010:
        forms = [f"two thousand {ONES[rest]}", f"two thousand and {ONES[rest]}"] if rest else ["two thousand"]
    if rest == 0 and year != 2000:
        forms.append(f"{below_hundred(century)} hundred")
    elif 0 < rest < 10:
        forms += [f"{below_hundred(century)} {oh} {ONES[rest]}" for oh in ("oh", "zero")]
        if century < 20:
            forms.append(f"{below_hundred(century)} hundred and {ONES[rest]}")
    elif rest >= 10:
        forms.append(f"{below_hundred(century)} {below_hundred(rest)}")
        if rest > 20 and rest % 10:
            forms.append(f"{below_hundred(century)} {ONES[rest // 10]} {ONES[rest % 10]}")
        if year > 2000:
            forms += [f"two thousand {below_hundred(rest)}", f"two thousand and {below_hundred(rest)}"]
    return [*dict.fromkeys([*forms, digits])]


def _years() -> Iterator[tuple[str, Any]]:
    for year in range(FIRST_YEAR, LAST_YEAR + 1):
        for form in year_forms(year):
            yield form, year
    for century in (18, 19, 20):
        for tens, decade in DECADES.items():
            if century == 20 and tens > 20:
                break
            first = century * 100 + tens
            forms = [f"{below_hundred(century)} {decade}"]
            if century == 19 and tens >= 20:
                forms.append(decade)
            for form in forms:
                yield f"the {form}", f"{first}-{first + 9}"
                yield form, f"{first}-{first + 9}"
                for when, low, high in (("early", 0, 3), ("mid", 4, 6), ("late", 7, 9)):
                    for the in ("the ", ""):
                        yield f"{the}{when} {form}", f"{first + low}-{first + high}"
    for tens in range(30, 100, 10):
        for ones in range(10):
            yield f"in {below_hundred(tens + ones)}", 1900 + tens + ones
    for the in ("the ", ""):
        yield f"{the}two thousands", "2000-2009"
        yield f"{the}turn of the century", "1895-1905"


def _half() -> Iterator[tuple[str, Any]]:
    for n in range(1, 7):
        yield ONES[n], n
        if n < 6:
            for form in (f"{ONES[n]} and a half", f"{ONES[n]} point five"):
                yield form, n + 0.5


@cache
def number_source(name: str) -> tuple[tuple[str, Any], ...] | None:
    """(words, value) of a number slot, or None when `name` is not one."""
    if name in ("year", "half"):
        return tuple(_years() if name == "year" else _half())
    if name == "percent":
        return tuple((form, n / 100) for n in range(1, 101) for form in number_forms(n))
    if match := re.fullmatch(r"(\d+)-(\d+)", name):
        low, high = int(match[1]), int(match[2])
        return tuple((form, n) for n in range(low, min(high, 999) + 1) for form in number_forms(n))
    return None


def figures_to_words(text: str) -> str | None:
    """The words for a written figure: "12", "1958", "1950s", "6/12", "24x40", "1.5", "50%", or None."""
    if match := re.fullmatch(r"'?(\d{4}|\d0)'?s", text):
        n = int(match[1])
        if n >= 100:
            return f"{below_hundred(n // 100)} {DECADES.get(n % 100, 'hundreds')}" if n != 2000 else "two thousands"
        return DECADES[n]
    if match := re.fullmatch(r"'(\d\d)", text):
        return f"in {below_hundred(int(match[1]))}"
    if match := re.fullmatch(r"(\d+)[./](\d+)%?", text):
        return _fraction(text, match[1], match[2])
    if match := re.fullmatch(r"(\d+)(:|x|-|by)(\d+)", text):
        left, right = figures_to_words(match[1]), figures_to_words(match[3])
        between = {":": " in ", "x": " by ", "by": " by ", "-": " to " if len(match[1]) == 4 else " "}[match[2]]
        return f"{left}{between}{right}" if left and right else None
    if match := re.fullmatch(r"(\d{1,4})(%|'|\"|[a-z]+)?", text):
        n, unit = int(match[1]), match[2]
        if len(match[1]) == 4 and 1700 <= n <= 2100:
            words = year_forms(n)[0]
        elif n < 1000:
            words = number_forms(n)[0]
        else:
            return None
        units = {None: "", "%": " percent", "'": " feet", '"': " inches"}
        return words + (units[unit] if unit in units else f" {unit}")
    return None


def _fraction(text: str, left: str, right: str) -> str | None:
    halves = {"1/2": "half", "1/4": "a quarter", "3/4": "three quarters", "1/3": "a third", "2/3": "two thirds"}
    if text in halves:
        return halves[text]
    if len(left) > 3 or len(right) > 2:
        return None
    if "/" in text:
        return f"{number_forms(int(left))[0]} {number_forms(int(right))[0]}"
    return f"{number_forms(int(left))[0]} point " + " ".join(ONES[int(digit)] for digit in right.rstrip("%"))
