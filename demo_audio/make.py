"""Makes the demo sound again: the clips of clips.yaml and the recording of scenario.yaml.

    python demo_audio/make.py            everything
    python demo_audio/make.py 15 37      the clips whose file begins with 15 or 37

Every run with the same voices gives the same samples. Prints level and length of each file.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import soundfile
import yaml

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import noise  # noqa: E402
from voices import RATE, speak  # noqa: E402

SCENARIO_SEED = 9000


def _write(path: Path, samples: np.ndarray) -> None:
    soundfile.write(path, samples, RATE, format="FLAC", subtype="PCM_16")
    print(
        f"{path.name:24} {len(samples) / RATE:7.2f} s  active {noise.active_level_db(samples):6.1f} dB  "
        f"peak {np.abs(samples).max():.2f}"
    )


def clip(entry: dict, seed: int) -> np.ndarray:
    """The samples of one line of clips.yaml."""
    spoken = speak(entry["voice"], entry["say"])
    return spoken if entry["noise"] == "none" else noise.mix(spoken, entry["noise"], entry["ratio_db"], seed)


def scenario(plan: dict) -> tuple[np.ndarray, list[dict]]:
    """The samples of the long recording, and where each utterance lies in it."""
    pause = np.zeros(int(plan["pause_s"] * RATE), np.float32)
    parts, times, at, saws = [pause], [], len(pause), []
    level = None
    for entry in plan["utterances"]:
        spoken = speak(plan["voice"], entry["say"])
        level = noise.active_level_db(spoken) if level is None else level
        if entry.get("saw"):
            saws.append((at - len(pause) // 2, at + len(spoken) + len(pause) // 2))
        end = at + len(spoken)
        times.append({"say": entry["say"], "start_s": round(at / RATE, 2), "end_s": round(end / RATE, 2)})
        parts += [spoken, pause]
        at = end + len(pause)
    sound = np.concatenate(parts)
    sound += noise.wind(len(sound) / RATE + 0.01, SCENARIO_SEED)[: len(sound)] * _gain(
        level, plan["wind_ratio_db"]
    )
    running = noise.saw(len(sound) / RATE + 0.01, SCENARIO_SEED + 1)[: len(sound)]
    for start, end in saws:
        sound[start:end] += running[start:end] * _gain(level, plan["saw_ratio_db"]) * _fade(end - start)
    return np.clip(sound, -0.98, 0.98).astype(np.float32), times


def _gain(level_db: float, ratio_db: float) -> np.float32:
    return np.float32(10 ** ((level_db - ratio_db) / 20))


def _fade(n: int) -> np.ndarray:
    ramp = RATE // 4
    shape = np.ones(n, np.float32)
    shape[:ramp] = np.linspace(0, 1, ramp)
    shape[-ramp:] = np.linspace(1, 0, ramp)
    return shape


def main(chosen: list[str]) -> None:
    entries = yaml.safe_load((HERE / "clips.yaml").read_text(encoding="utf-8"))["clips"]
    for number, entry in enumerate(entries):
        if not chosen or any(entry["file"].startswith(start) for start in chosen):
            _write(HERE / entry["file"], clip(entry, seed=100 + number))
    if not chosen or "scenario" in chosen:
        plan = yaml.safe_load((HERE / "scenario.yaml").read_text(encoding="utf-8"))
        sound, times = scenario(plan)
        _write(HERE / plan["file"], sound)
        lines = ["# Written by make.py: where each utterance of scenario.yaml lies in scenario.flac [s]."]
        lines += [f'- {{start_s: {t["start_s"]}, end_s: {t["end_s"]}, say: "{t["say"]}"}}' for t in times]
        (HERE / "scenario_times.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
