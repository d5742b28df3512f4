"""The demo clips for tests: what was said in each is known, because a synthesiser was told to say it."""

from __future__ import annotations

import yaml

from fieldaid import data
from fieldaid.hearing.gate import Segment, segments
from fieldaid.hearing.sound import Recording

DEMO = data.folder("demo_audio")
CLIPS = {clip["file"][:2]: clip
         for clip in yaml.safe_load((DEMO / "clips.yaml").read_text(encoding="utf-8"))["clips"]}
"""By their number, in order."""


def clip(number: str) -> list[Segment]:
    """The stretches of speech in a clip."""
    return list(segments(Recording(DEMO / CLIPS[number]["file"])))
