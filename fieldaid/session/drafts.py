"""Reports drafted for a person to send: conditions-actions-needs, and the form for a mayday.

Nothing here transmits. What was not told is said as not told.
Sources: conditions, actions, needs [R03]; location, unit, name, assignment and air, resources [R09].
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldaid.session.judging import Judged
from fieldaid.session.replies import Reply, access_text, needs


def conditions_actions_needs(judged: Judged, phrase: Any) -> list[Reply]:
    """The roof crew's report to command, drafted from what is known."""
    told = {name: one for name, one in judged.known.items() if one.counts}
    conditions = [phrase(name, one.value, one.basis) for name, one in told.items()
                  if name.startswith(("fire.", "smoke.", "deck.", "opening.shows", "interior.relief"))]
    actions = [phrase(name, one.value, one.basis) for name, one in told.items()
               if name.startswith(("crew.where", "opening.made", "crew.count"))]
    missing = needs(judged.main)[:3]
    return [
        Reply("note", "Draft report, not sent:"),
        Reply("note", f"Conditions: {'; '.join(conditions) or 'not told'}."),
        Reply("note", f"Actions: {'; '.join(actions) or 'not told'}. {access_text(judged.main)}",
              judged.main.access_rules),
        Reply("note", f"Needs: {', '.join(missing) or 'none named'}."),
    ]


def mayday_form(known: Mapping[str, Any]) -> list[Reply]:
    """The five parts of a mayday call with what is known of each."""
    where = known.get("crew.where")
    place = where.value if where is not None and where.counts else "not told"
    air = known.get("crew.air")
    left = "not told"
    if air is not None and air.counts:
        (kind, value), = air.value.items()
        left = "low" if (kind, value) == ("low", "yes") else f"{value} {kind}"
    return [
        Reply("note", "Draft mayday, not sent. You call it."),
        Reply("note", f"Location: {place}. Unit: not told. Name: not told."),
        Reply("note", f"Assignment: roof. Air: {left}. Resources: not told."),
    ]
