"""Numbers as words that cannot be taken for each other.

"Fifteen" and "fifty" differ by one faint sound, and a recogniser tried on a human voice heard every final
"-ty" as "-teen". So 13 to 99 are read digit by digit, as on the radio: 15 is "one five", 50 is "five zero".
"""

from __future__ import annotations

SMALL = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
         "twelve")
ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
            "eleventh", "twelfth")
FRACTIONS = {"1/2": "one half", "1/4": "one quarter", "3/4": "three quarters", "1/3": "one third",
             "2/3": "two thirds"}
CENTURIES = {"17": "seventeen", "18": "eighteen", "19": "nineteen"}

# Words that sound like another number; a year's "nineteen five eight" is told apart by the digits after it.
EASILY_MISHEARD = frozenset(
    [ten + "ty" for ten in ("twen", "thir", "for", "fif", "six", "seven", "eigh", "nine")]
    + [teen + "teen" for teen in ("thir", "four", "fif", "six", "seven", "eigh", "nine")]
)


def digits(figures: str) -> str:
    """Each figure apart: "010" is "zero one zero"."""
    return " ".join(SMALL[int(figure)] for figure in figures)


def is_year(figures: str) -> bool:
    """Four figures from 1700 to 2099, without a comma."""
    return len(figures) == 4 and figures.isdigit() and "1700" <= figures <= "2099"


def year(figures: str) -> str:
    """1958 is "nineteen five eight", 2005 is "two zero zero five"."""
    century = CENTURIES.get(figures[:2])
    return f"{century} {digits(figures[2:])}" if century else digits(figures)


def number(figures: str) -> str:
    """A count or measure: "7", "15", "1,200", "1.5". Zero to twelve and round hundreds have own words."""
    whole, _, part = figures.replace(",", "").partition(".")
    whole = whole.lstrip("0") or "0"
    if int(whole) < len(SMALL):
        said = SMALL[int(whole)]
    elif len(whole) == 3 and whole.endswith("00"):
        said = f"{SMALL[int(whole[0])]} hundred"
    elif len(whole) in (4, 5) and whole.endswith("000"):
        said = f"{number(whole[:-3])} thousand"
    else:
        said = digits(whole)
    return f"{said} point {digits(part)}" if part else said


def ordinal(figures: str) -> str:
    """2 is "second"; beyond twelve "number one three", since "thirteenth" and "thirtieth" are alike."""
    return ORDINALS[int(figures)] if 0 < int(figures) < len(ORDINALS) else f"number {digits(figures)}"
