"""Display text to the words that the voice says, how long they take, and whether a line is short enough.

Abbreviations are said as whole words (MIL-DTL-87268D 3.3.6.2), sides by the radio alphabet, numbers by
`figures`. The limits of a line are this product's own rule, derived from MIL-STD-1472E 5.3.4.3.3-5 (speech
names the exact emergency) and from the finding that people answer more slowly as alarms pile up (PMC4456276):
short fixed sentences.
"""

from __future__ import annotations

import re

from fieldaid.speaking import figures

DANGER = ("leave", "stop")
KINDS = ("leave", "stop", "caution", "advice", "question", "readback", "note")
MOST_WORDS = {kind: 7 if kind in DANGER else 10 for kind in KINDS}
MOST_SECONDS = 4.0
RATE = 190  # words a minute asked of the engine: the slowest at which ten words in three sentences take 4 s

SIDES = {"A": "Alpha", "B": "Bravo", "C": "Charlie", "D": "Delta"}
CREWS = {"E": "engine", "L": "ladder", "T": "truck"}  # of "E3"; common practice, no source
POINTS = {"N": "north", "E": "east", "S": "south", "W": "west"}

# Case matters here: "PASS" is an alarm, "pass" is not.
ABBREVIATIONS = {
    "PAR": "personnel accountability report", "IC": "incident commander", "RIC": "rapid intervention crew",
    "RIT": "rapid intervention team", "SCBA": "breathing apparatus", "PASS": "personal alarm",
    "PPV": "positive pressure ventilation", "PPA": "positive pressure attack", "PPE": "protective gear",
    "TIC": "thermal camera", "OSB": "oriented strand board", "HVAC": "heating and cooling unit",
    "AC unit": "air conditioner", "A/C unit": "air conditioner", "PV": "solar panels",
    "LDH": "large hose", "SOP": "standing procedure", "SOG": "standing guideline", "LPG": "propane",
    "OK": "okay", "ID": "number", "CO": "carbon monoxide", "UL": "Underwriters Laboratories",
    "NIST": "the standards institute", "NFPA": "the fire protection association",
    "e.g.": "for example", "i.e.": "that is", "etc.": "and so on", "vs.": "against", "vs": "against",
    "approx.": "about", "approx": "about", "o.c.": "on centre", "w/o": "without", "w/": "with",
}
UNITS = {  # abbreviation: (one, several)
    "sq ft": ("square foot", "square feet"), "ft²": ("square foot", "square feet"),
    "ft": ("foot", "feet"), "mph": ("mile per hour", "miles per hour"), "min": ("minute", "minutes"),
    "sec": ("second", "seconds"), "s": ("second", "seconds"), "hr": ("hour", "hours"), "h": ("hour", "hours"),
    "lbs": ("pound", "pounds"), "lb": ("pound", "pounds"), "yd": ("yard", "yards"), "mi": ("mile", "miles"),
    "psi": ("pound per square inch", "pounds per square inch"),
    "gpm": ("gallon a minute", "gallons a minute"),
    "cfm": ("cubic foot a minute", "cubic feet a minute"), "dBA": ("decibel", "decibels"),
    "dB": ("decibel", "decibels"), "kW": ("kilowatt", "kilowatts"), "kg": ("kilogram", "kilograms"),
    "cm": ("centimetre", "centimetres"), "m": ("metre", "metres"), "%": ("percent", "percent"),
    "°F": ("degree Fahrenheit", "degrees Fahrenheit"), "°C": ("degree Celsius", "degrees Celsius"),
    "°": ("degree", "degrees"),
}
SYMBOLS = {"≥": " at least ", ">=": " at least ", "≤": " at most ", "<=": " at most ", ">": " more than ",
           "<": " less than ", "=": " is ", "±": " plus or minus ", "+": " plus ", "&": " and ",
           "~": " about ", "≈": " about ", "→": " to ", "#": " number ", "@": " at ", "…": ".", "—": ", ",
           "–": ", "}

_N = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_UNIT = "|".join(re.escape(unit) for unit in sorted(UNITS, key=len, reverse=True))
_SHORT = "|".join(re.escape(word) for word in sorted(ABBREVIATIONS, key=len, reverse=True))
# "24 in" is inches only where a measure can end: "three in place" and "6 in 12" are not.
_AFTER_INCHES = (r"(?=\s*(?:$|[.,;:?!)x×]|on cent|o\.?c\.?\b|apart|wide|deep|long|thick|spac|above|below|"
                 r"by\b|overhang|hole|cut))")
_AFTER_SIDE_A = (r"(?=\s*(?:$|[.,;:?!)/-]|"
                 r"(?:sides?|slope|corner|wall|faces?|facing|gable|eave|end|and|or|to|is)\b))")
_MEASURED = re.compile(r"\s+(?:inch|" + "|".join(several for _, several in UNITS.values()) + ")")


def spoken_form(text: str) -> str:
    """What the voice says for `text`; given its own result it changes nothing.

    >>> spoken_form("Cut 4x8 ft on C, built 1958, wind W 15 mph.")
    'Cut four by eight feet on Charlie, built nineteen five eight, wind west one five miles per hour.'
    """
    said = re.sub(r"[\"“”*`]+(?<!\d\")|[‘’]", lambda m: "'" if m[0] in "‘’" else "", text)
    said = _abbreviations(_tidy(said))
    said = _measures(said)
    for symbol, words in SYMBOLS.items():
        said = said.replace(symbol, words)
    said = _sides(_tidy(said))
    said = _numbers(said.replace("/", " or "))
    return _tidy(said)


def _abbreviations(text: str) -> str:
    text = re.sub(r"\b([A-Z]{2,})-(\d{2,4})\b", lambda m: f"{m[1].lower()} {figures.digits(m[2])}", text)
    text = re.sub(r"\b([ELT])(?=\d{1,3}\b)", lambda m: CREWS[m[1]] + " ", text)
    text = re.sub(rf"(?<![\w.])({_SHORT})(?![\w/])", lambda m: ABBREVIATIONS[m[1]], text)
    return re.sub(r"(?<=[A-Za-z])[._@](?=[A-Za-z])", " ", text)


def _measures(text: str) -> str:
    """Decades, dimensions, pitches, clock times, ranges and units; other numbers stay figures."""
    text = re.sub(r"(?<![\w.,])(\d{3}0)s\b",
                  lambda m: _calendar(m[1]) + "s", text)
    text = re.sub(r"(\d{1,2}):12(?= pitch)|(?<=pitch )(\d{1,2}):12", lambda m: f"{m[1] or m[2]} in 12", text)
    text = re.sub(r"\b(\d{1,2}):(\d{2})\b", lambda m: figures.digits(m[1] + m[2]), text)
    text = re.sub(r"(\d) (?=[123]/[234]\b)", r"\1 and ", text)
    text = re.sub(r"\b[123]/[234]\b", lambda m: figures.FRACTIONS.get(m[0], m[0]), text)
    text = re.sub(r"\b(\d{1,2})/12\b", r"\1 in 12", text)
    text = re.sub(r"(\d)\s*'\s*(?=\d)", r"\1 ft ", text)
    text = re.sub(r"(\d)\s*'(?!\w)", r"\1 ft", text)
    text = re.sub(r"(\d)\s*[\"″](?!\w)", r"\1 inches", text)
    text = re.sub(rf"({_N})\s*(?:ft|feet)?\s*[x×]\s*(?=\d)", r"\1 by ", text)
    text = re.sub(r"(\d)\s*[-–]\s*(?=\d)", r"\1 to ", text)
    text = re.sub(rf"(?<![\w.,])({_N})([\s-]?)in\b{_AFTER_INCHES}",
                  lambda m: f"{m[1]} {'inch' if m[1] == '1' or m[2] == '-' else 'inches'}", text)
    return re.sub(rf"(?<![\w.,])({_N})([\s-]?)({_UNIT})(?![\w²])",
                  lambda m: f"{m[1]} {UNITS[m[3]][0 if m[1] == '1' or m[2] == '-' else 1]}", text)


def _calendar(told: str) -> str:
    return figures.year(told) if figures.is_year(told) else figures.digits(told)


def _sides(text: str) -> str:
    names = lambda letters: " ".join(SIDES[letter] for letter in letters)  # noqa: E731
    text = re.sub(r"\b([A-D])\s?[-/]\s?([A-D])\b", lambda m: names(m[1] + m[2]), text)
    text = re.sub(r"\b(?:ABCD|([A-D])(?!\1)[A-D])\b", lambda m: names(m[0]), text)
    text = re.sub(r"\bside ([a-d])\b", lambda m: f"side {SIDES[m[1].upper()]}", text)
    text = re.sub(r"\b([b-d]) (side|slope|corner)\b", lambda m: f"{SIDES[m[1].upper()]} {m[2]}", text)
    text = re.sub(rf"((?:^|[.?!:])\s*)A\b{_AFTER_SIDE_A}", r"\1Alpha", text)
    text = re.sub(r"(?<=[^.?!:\s])(\s+|-)A\b(?!\.\w)", r"\1Alpha", text)
    text = re.sub(r"(?<=\()A\b", "Alpha", text)
    text = re.sub(r"\b[B-D]\b", lambda m: SIDES[m[0]], text)
    text = re.sub(r"(?<!['\w])([NESW])([NS][EW])\b", lambda m: POINTS[m[1]] + " " + _point(m[2]), text)
    return re.sub(r"(?<!['\w])([NS][EW]|[NESW])\b(?!['.]\w)", lambda m: _point(m[0]), text)


def _point(letters: str) -> str:
    return "".join(POINTS[letter] for letter in letters)


def _numbers(text: str) -> str:
    text = re.sub(r"(?<![\w.,])(\d+)(?:st|nd|rd|th)\b", lambda m: figures.ordinal(m[1]), text)
    text = re.sub(r"(^|[\s(])[-−](?=\d)", r"\1minus ", text)

    def word(match: re.Match[str]) -> str:
        told = match[0]
        measured = _MEASURED.match(match.string, match.end())
        said = figures.year(told) if figures.is_year(told) and not measured else figures.number(told)
        before = " " if match.start() and match.string[match.start() - 1].isalpha() else ""
        after = " " if match.string[match.end():match.end() + 1].isalpha() else ""
        return before + said + after

    return re.sub(_N, word, text)


def _tidy(text: str) -> str:
    text = re.sub(r"\s*[(\[{]\s*", ", ", text)
    text = re.sub(r"\s*[)\]}]", ",", text)
    text = re.sub(r"_", " ", text)
    text = re.sub(r"\s+([,.;:?!])", r"\1", re.sub(r"\s+", " ", text))
    text = re.sub(r"[,;]+\s*(?=[,.;:?!])", "", text)
    text = re.sub(r"\.{2,}", ".", text)
    return text.strip(" ,;-")


def word_count(text: str) -> int:
    """Words that are said, numbers as they are read out: "15" is two."""
    return len(re.findall(r"[A-Za-z]+(?:'[A-Za-z]+)?", spoken_form(text)))


def seconds(text: str, rate: int = RATE) -> float:
    """Estimate of the time [s] that the voice takes for `text` at `rate` [words a minute].

    A straight line through 44 lines of espeak-ng 1.51 (en-us) at 190, by letters, commas and sentences.
    Its error there was 0.14 s (root mean square) and 0.37 s at most.
    """
    said = spoken_form(text)
    letters = len(re.findall(r"[A-Za-z]", said))
    if not letters:
        return 0.0
    inner = said.rstrip(".?!,;: ")
    at_190 = 0.115 + 0.0562 * letters + 0.240 * inner.count(",") + 0.348 * len(re.findall(r"[.?!;:]", inner))
    return at_190 * 190.0 / rate


def over_limit(kind: str, text: str) -> list[str]:
    """Which limits a line breaks, as sentences for the person who wrote it; empty when it is short enough."""
    words, time = word_count(text), seconds(text)
    found = []
    if words > MOST_WORDS[kind]:
        most = MOST_WORDS[kind]
        found.append(f"{words} spoken words, at most {most} in a {kind} line: {spoken_form(text)!r}")
    if time > MOST_SECONDS:
        found.append(f"about {time:.1f} s to say, at most {MOST_SECONDS:.0f} s: {spoken_form(text)!r}")
    return found


def unclear(text: str) -> list[str]:
    """What the ear may miss: abbreviations without words, and number words that sound like others."""
    said = spoken_form(text)
    capitals = re.findall(r"\b[A-Z]{2,}\b", said)
    found = [f"{word} has no whole word to say; write it out" for word in capitals]
    words = [word.lower() for word in re.findall(r"[A-Za-z]+", said)]
    for word, after in zip(words, [*words[1:], ""], strict=True):
        is_century = word in figures.CENTURIES.values() and after in figures.SMALL
        if word in figures.EASILY_MISHEARD and not is_century:
            found.append(f"{word} sounds like another number; write it in figures")
    return found
