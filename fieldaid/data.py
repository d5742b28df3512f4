"""Where packs, grammars and other shipped data are found.

Order: the folder that an option names; the data folder inside the installed package; the checkout beside the
package. The wheel maps `rules` and `grammars` to `fieldaid/_data/…`; an editable install and a checkout use the
folders at the top level.
"""

from __future__ import annotations

import os
from pathlib import Path

from fieldaid.errors import BrokenData

PACKAGE = Path(__file__).resolve().parent
INSTALLED = PACKAGE / "_data"
CHECKOUT = PACKAGE.parent


def folder(name: str, given: str | os.PathLike[str] | None = None) -> Path:
    """The folder `name` ("rules", "grammars", "demo_audio"); `given` wins.

    Raises
    ------
    BrokenData : the folder is nowhere to be found
    """
    tried = [Path(given)] if given is not None else [INSTALLED / name, CHECKOUT / name]
    for place in tried:
        if place.is_dir():
            return place
    raise BrokenData(
        f"the folder {name} was not found",
        where=" or ".join(str(place) for place in tried),
        why="it holds data that fieldaid cannot work without",
        next_step="name an existing folder, or install fieldaid again",
    )


def state_home() -> Path:
    """Where journals are kept: $FIELDAID_HOME, or fieldaid's folder under the XDG state home."""
    given = os.environ.get("FIELDAID_HOME")
    if given:
        return Path(given)
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "fieldaid"
