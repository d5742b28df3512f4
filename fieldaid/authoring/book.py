"""The rule book: one self-contained HTML page of everything that a pack says and rests on, to be read and printed."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from fieldaid.authoring.book_style import STYLE
from fieldaid.authoring.evidence import Evidence
from fieldaid.authoring.in_words import all_in_words, conclusion_in_words, example_in_words
from fieldaid.authoring.provenance import Origins
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.conditions import All
from fieldaid.guidance.pack import STRATA, Pack, Rule

CAUTION = ("A training and practice aid. It never orders anything and clears no roof. The incident commander, the "
           "department and local procedure decide. What is not written here is not thereby allowed.")
STRATUM_TITLES = {"derive": "What follows from what is told", "hazards": "Dangers, stops and cautions",
                  "access": "Who may be where", "gate": "Whether it may be opened now",
                  "placement": "Where and how", "advice": "Advice"}
CERTAINTY = {"A": "the issuing body's own words", "B": "reported by others, or reasoned from such",
             "C": "from memory, one weak source, or common practice"}
_STATUS = {"draft": "draft, takes no part", "trial": "on trial", "retired": "retired"}


def book(pack: Pack, evidence: Evidence, origins: Origins) -> str:
    """The book as HTML.

    Parameters
    ----------
    pack : with its overlays
    evidence : may be empty; its chapters are then left out
    origins : what the overlays changed
    """
    chapters = [("read", "How to read this book", _how_to_read(pack)),
                ("changes", "What the department changed", _changes(pack, origins)),
                ("decisions", "The decisions", _decisions(pack, evidence)),
                ("rules", "The rules", _rules(pack, origins)),
                ("parameters", "The numbers", _parameters(pack, origins)),
                ("invariants", "What must always hold", _invariants(pack)),
                ("conflicts", "Where the sources disagree", _conflicts(evidence)),
                ("sources", "Sources", _sources(pack)),
                ("unused", "Collected and not used", _unused(evidence)),
                ("index", "Index", _index(pack))]
    chapters = [one for one in chapters if one[2]]
    contents = "".join(f'<li><a href="#{anchor}">{escape(title)}</a></li>' for anchor, title, _ in chapters)
    body = "".join(f'<section id="{anchor}"><h2>{escape(title)}</h2>{text}</section>'
                   for anchor, title, text in chapters)
    title = f"Rule book: {pack.name} {pack.version}"
    return (f'<!DOCTYPE html>\n<html lang="{escape(pack.language)}"><head><meta charset="utf-8">'
            f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
            f"<style>{STYLE}</style></head><body>{_cover(pack, title)}<nav><h2>Contents</h2><ol>{contents}</ol></nav>"
            f"<main>{body}</main></body></html>\n")


def _cover(pack: Pack, title: str) -> str:
    counts = {word: sum(1 for rule in pack.rules if rule.status == word)
              for word in ("stable", "trial", "draft", "retired")}
    told = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    names = ", ".join(_last(one) for one in pack.overlays)
    overlays = f"<p>With the overlay {escape(names)}.</p>" if names else ""
    return (f"<header><h1>{escape(title)}</h1><p>{escape(pack.about)}</p>{overlays}"
            f"<p>{len(pack.rules)} rules ({told}), {len(pack.parameters)} numbers that a department may set, "
            f"{len(pack.sources)} source rows. Status of the pack: {escape(pack.status)}. "
            f"Fingerprint {pack.digest[:16]}.</p><p class=caution>{escape(CAUTION)}</p></header>")


def _how_to_read(pack: Pack) -> str:
    protected = sum(1 for rule in pack.rules if rule.protected)
    return (
        "<p>Guidance is worked out in steps: what follows from what was told, dangers, who may be where, whether it "
        "may be opened, where and how, advice. The strictest answer of a step counts, and a bar takes every answer "
        "about an opening away. “Not told” is an answer of its own: it bars and holds, and it is never called "
        "unsafe.</p>"
        "<p>Each rule says when it applies, what it concludes, what is said aloud, why, on which source, and when it "
        f"may be wrong. {protected} rules are protected: a department can tighten them and never retire or loosen "
        "them. "
        "A line marked “unless barred” waits while a hazard or an order bars the roof; one marked “when asked” is "
        "told with the status only. "
        "A name with a $ is a number that a department may set within its range. Rules marked “common practice, no "
        "source” or “from memory” rest on no publication that was read.</p>")


def _changes(pack: Pack, origins: Origins) -> str:
    if not pack.overlays:
        return ""
    rows = [(f"${one}", f"{change.before:g} &rarr; {change.after:g} {escape(pack.parameters[one].unit)}", change.by)
            for one, change in origins.parameters.items()]
    rows += [(one, f"says “{escape(change.after)}” instead of “{escape(change.before)}”", change.by)
             for one, change in origins.reworded.items()]
    rows += [(rule.id, f"retired: {escape(rule.retired_because)}", origins.retired[rule.id])
             for rule in pack.rules if rule.id in origins.retired]
    rows += [(rule.id, f"added: {escape(rule.title)}", origins.added[rule.id])
             for rule in pack.rules if rule.id in origins.added]
    return _table(("what", "how", "by"), [(_link(what.lstrip("$"), what), how, escape(by)) for what, how, by in rows])


def _decisions(pack: Pack, evidence: Evidence) -> str:
    return "".join(
        f"<article class=decision><h3>{escape(one.id)}. {escape(one.question)}</h3>"
        f"<p>Possible answers: {escape(one.outcomes)}.</p>"
        f"<ul class=links>{''.join(f'<li>{_titled(rule, pack)}</li>' for rule in one.rules)}</ul>"
        + (f"<p>{escape(one.elsewhere)}</p>" if one.elsewhere else "") + "</article>" for one in evidence.decisions)


def _rules(pack: Pack, origins: Origins) -> str:
    parts = []
    for stratum in STRATA:
        rules = [rule for rule in pack.rules if rule.stratum == stratum]
        if rules:
            parts.append(f"<h3 class=stratum>{STRATUM_TITLES[stratum]}</h3><div class=rules>"
                         + "".join(_rule(rule, pack, origins) for rule in rules) + "</div>")
    return "".join(parts)


def _rule(rule: Rule, pack: Pack, origins: Origins) -> str:
    marks = [_STATUS[rule.status]] if rule.status in _STATUS else []
    marks += ["protected"] if rule.protected else []
    marks += [f"of {origins.added[rule.id]}"] if rule.id in origins.added else []
    rows = [("when", _conditions(rule.when, pack, origins)),
            ("unless", _conditions(rule.unless, pack, origins) if rule.unless else ""),
            ("then", escape(conclusion_in_words(rule.conclude))),
            ("said", _said(rule.say) + (f", {rule.said}" if rule.said != "at once" else "")
             + _words_of(rule, origins)),
            ("why", escape(rule.why)), ("may be wrong", escape(rule.may_be_wrong)),
            ("source", _source_links(rule.source, pack)),
            ("keeps", ", ".join(f'<a href="#inv-{number}">invariant {number}</a>' for number in rule.invariants)),
            ("applies to", "<br>".join(escape(example_in_words(one)) for one in rule.fires)),
            ("is silent on", "<br>".join(escape(example_in_words(one)) for one in rule.silent)),
            ("retired", escape(f"by {origins.retired[rule.id]}: {rule.retired_because}" if rule.id in origins.retired
                               else rule.retired_because))]
    lines = "".join(f"<dt>{name}</dt><dd>{text}</dd>" for name, text in rows if text)
    marked = "".join(f" <span class=mark>{escape(one)}</span>" for one in marks)
    return (f'<article class="rule" id="{_anchor(rule.id)}"><h4>{escape(rule.id)} {escape(rule.title)}{marked}</h4>'
            f"<dl>{lines}</dl></article>")


def _said(text: str) -> str:
    words = text.replace("{where}", "(place)").replace("{value}", "(value)")
    return f"“{escape(words)}”" if words else ""


def _words_of(rule: Rule, origins: Origins) -> str:
    """Whose words an overlay's line is in, and what it was before."""
    change = origins.reworded.get(rule.id)
    return "" if change is None else f" (words of {escape(change.by)}; the pack says {_said(change.before)})"


def _conditions(one: All, pack: Pack, origins: Origins) -> str:
    lines = []
    for part in all_in_words(one, pack.computed):
        if isinstance(part, str):
            lines.append(f"<li>{_with_parameters(part, origins)}</li>")
        else:
            inner = "".join(f"<li>{_with_parameters(' and '.join(clauses), origins)}</li>" for clauses in part)
            lines.append(f"<li>any of<ul>{inner}</ul></li>")
    return f"<ul>{''.join(lines)}</ul>"


def _parameters(pack: Pack, origins: Origins) -> str:
    users = {one: [rule.id for rule in pack.rules if _uses(rule, one)] for one in pack.parameters}
    rows = [(f'<a id="{_anchor(one.id)}"></a>${escape(one.id)}', escape(one.about),
             f"{one.value:g} {escape(one.unit)}", f"{one.low:g} to {one.high:g}",
             escape(origins.value_from(one.id, pack)), _source_links(one.source, pack),
             ", ".join(_link(rule) for rule in users[one.id]) or "the calculations")
            for one in pack.parameters.values()]
    return _table(("name", "what", "value", "range", "set by", "source", "used by"), rows)


def _invariants(pack: Pack) -> str:
    rows = [(f'<a id="inv-{one.number}"></a>{one.number}', escape(one.text),
             ", ".join(_link(name) if name in pack else escape(name) for name in one.enforced))
            for one in pack.invariants]
    return _table(("no.", "what holds", "kept by"), rows) if rows else ""


def _conflicts(evidence: Evidence) -> str:
    rows = [(escape(one.id), f"<b>{escape(one.subject)}</b><br>{escape(one.sides)}",
             f"{escape(one.handled)} {escape(one.elsewhere)}",
             ", ".join(_link(rule) for rule in one.rules), ", ".join(_row_link(row) for row in one.rows))
            for one in evidence.conflicts]
    return _table(("no.", "what disagrees", "what is done", "rules", "rows"), rows) if rows else ""


def _sources(pack: Pack) -> str:
    users: dict[str, list[str]] = {}
    for rule in pack.rules:
        for one in rule.source:
            users.setdefault(one, []).append(rule.id)
    rows = [(f'<a id="row-{escape(one.id)}"></a>{escape(one.id)}', escape(one.fact),
             f"{escape(one.title)}{f', {one.year:g}' if one.year else ''}"
             f'<br><span class=found>{escape(one.found)}</span>', escape(one.kind), one.certainty,
             ", ".join(_link(rule) for rule in users.get(one.id, [])))
            for one in sorted(pack.sources.values(), key=lambda one: one.id)]
    key = " ".join(f"{letter}: {words}." for letter, words in CERTAINTY.items())
    bare = {word: [rule.id for rule in pack.rules if tuple(rule.source) == (word,)]
            for word in ("common practice, no source", "from memory")}
    told = "".join(f"<p>{len(ids)} rules are {escape(word)}: {', '.join(_link(one) for one in ids)}.</p>"
                   for word, ids in bare.items() if ids)
    return f"<p>Certainty. {escape(key)}</p>{told}" + _table(
        ("row", "fact", "published in", "kind", "cert.", "used by"), rows)


def _unused(evidence: Evidence) -> str:
    rows = [(f'<a id="row-{escape(one.id)}"></a>{escape(one.id)}', escape(one.fact), escape(one.source), one.certainty,
             escape(one.why_unused)) for one in evidence.unused]
    return _table(("row", "fact", "published in", "cert.", "why no rule rests on it"), rows) if rows else ""


def _index(pack: Pack) -> str:
    """Facts and conclusions, each with the rules that look at it or make it."""
    found: dict[str, set[str]] = {}
    for rule in pack.rules:
        for one in rule.conditions:
            fact = FACTS.get(one.names[0])
            word = fact.called if fact is not None and not one.family else one.key.split(".")[0].replace("_", " ")
            found.setdefault(word, set()).add(rule.id)
        if rule.conclude.name:
            found.setdefault(rule.conclude.name, set()).add(rule.id)
    items = "".join(f"<li>{escape(word)}: {', '.join(_link(one) for one in sorted(ids))}</li>"
                    for word, ids in sorted(found.items(), key=lambda one: one[0].lower()))
    return f'<ul class="index">{items}</ul>'


def _uses(rule: Rule, parameter: str) -> bool:
    return any(bound.parameter == parameter for one in rule.conditions for bound in one.bounds)


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _with_parameters(text: str, origins: Origins) -> str:
    """A clause with its ($parameter) as a link, and with who set it when an overlay did."""
    before, mark, after = escape(text).partition("($")
    if not mark:
        return before
    name, _, rest = after.partition(")")
    change = origins.parameters.get(name)
    by = "" if change is None else f"; {escape(change.by)}, the pack has {change.before:g}"
    return f"{before}({_link(name, '$' + name)}{by}){_with_parameters(rest, origins) if '($' in rest else rest}"


def _source_links(source: Iterable[str], pack: Pack) -> str:
    return ", ".join(_row_link(one) if one in pack.sources else f"<i>{escape(one)}</i>" for one in source)


def _row_link(row: str) -> str:
    return f'<a href="#row-{escape(row)}">{escape(row)}</a>'


def _link(name: str, text: str = "") -> str:
    return f'<a href="#{_anchor(name)}">{escape(text or name)}</a>'


def _titled(rule_id: str, pack: Pack) -> str:
    return f"{_link(rule_id)} {escape(pack.rule(rule_id).title)}"


def _anchor(name: str) -> str:
    return "r-" + escape(name.replace(" ", "-"))


def _last(path: str) -> str:
    return path.rstrip("/").rsplit("/", 1)[-1]
