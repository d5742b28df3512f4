"""The picture and the guidance at a glance, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldaid import clock
from fieldaid.facts import CANNOT_TELL

if TYPE_CHECKING:
    from fieldaid.session.session import Session


def glance(data: dict[str, Any]) -> str:
    """One line: access, gate, where, what waits, what is missing; another part of the roof that is to be left.

    `data` is an answer's JSON object.
    """
    guidance = data["guidance"]
    opening = guidance["opening"]
    parts = [f"ACCESS {guidance['access']}" + (f" ({guidance['access_reason']})" if guidance["access_reason"] else ""),
             f"GATE {opening['gate']}"]
    if guidance["access"] != "leave now":
        parts += [f"{name.replace('_', ' ').upper()} leave now" for name, found in guidance["sections"].items()
                  if found["access"] == "leave now"]
    if opening["slope"]:
        parts.append(f"SLOPE {opening['slope']}")
    if data["pending"]:
        parts.append(f"WAITS {', '.join(data['pending'])}")
    if guidance["missing"]:
        more = len(guidance["missing"]) - 3
        parts.append(f"NOT TOLD {', '.join(guidance['missing'][:3])}" + (f" and {more} more" if more > 0 else ""))
    if guidance["channels_agree"] is False:
        parts.append("CHANNELS DIFFER")
    return " | ".join(parts)


def picture_table(session: Session) -> str:
    """Every fact told: name, value, how known, how old; what is stale or in question is said in words."""
    known = session.state.picture.known(clock.now())
    if not known:
        return "   Nothing told yet."
    now = clock.now()
    rows = []
    for name, one in known.items():
        value = "in question" if one.value is None else one.value
        remarks = [one.basis if one.basis != "told" else "", "stale, counts as unknown" if one.stale else "",
                   f"told {' and '.join(map(str, one.contested))}" if one.contested else "",
                   "it holds" if one.value == CANNOT_TELL else "", "" if one.confirmed else "not confirmed",
                   "exercise" if one.exercise else "",
                   f"{max(0, int((now - one.at) // 60))} min ago"]
        rows.append((name, _plain(value), ", ".join(remark for remark in remarks if remark)))
    widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
    return "\n".join(f"   {name:<{widths[0]}}  {value:<{widths[1]}}  {remark}" for name, value, remark in rows)


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_plain(one) for one in value)
    if isinstance(value, dict):
        return " ".join(str(one) for one in value.values() if one not in ("yes", "ground"))
    return str(value)
