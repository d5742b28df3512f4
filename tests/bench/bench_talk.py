"""How soon `fieldaid talk` answers, on virtual sound devices: `python tests/bench/bench_talk.py [--count 20] …`

Printed are the stages that the journal holds, and the same whole measured from outside: from the end of the words in
the microphone to the first sound of the loudspeaker, both recorded from the sound server. Then how often and how soon
"stop talking", "say again" and a danger are heard that are said into the middle of a reply, with an earpiece's
microphone and with one that hears the loudspeaker as loud as the person.
Needs PulseAudio; the machine should do nothing else meanwhile.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from virtual_sound import MIC_RATE, Recorder, VirtualSound, clip, missing_programs, spoken

CLIPS = ("15_wind_west.flac", "22_ridge_smoke.flac", "28_water.flac", "35_window.flac", "03_hip.flac",
         "14_vacant.flac", "48_need.flac", "36_eave_solid.flac")
SPEECH_LEVEL, VOICE_LEVEL = 0.02, 0.02
SIDES = ("Charlie", "Delta", "Alpha", "Bravo")


class Talk:
    """A running `fieldaid talk` with its screen."""

    def __init__(self, sound: VirtualSound, journal: Path, *options: str) -> None:
        self.lines: list[str] = []
        began = time.perf_counter()
        self.process = subprocess.Popen([sys.executable, "-m", "fieldaid", "talk", "--journal", str(journal), *options],
                                        env=sound.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        threading.Thread(target=lambda: self.lines.extend(iter(self.process.stdout.readline, "")), daemon=True).start()
        self.wait_for(lambda: any(line.startswith("Listening") for line in self.lines), 300)
        self.ready_s = time.perf_counter() - began

    def wait_for(self, done, seconds: float) -> bool:  # type: ignore[no-untyped-def]
        end = time.perf_counter() + seconds
        while not done() and time.perf_counter() < end:
            time.sleep(0.02)
        return bool(done())

    def end(self) -> None:
        self.process.stdin.close()
        self.process.wait(60)


def spread(values: list[float]) -> str:
    if not values:
        return "none"
    return f"p50 {np.percentile(values, 50):7.0f}   p95 {np.percentile(values, 95):7.0f}   n {len(values)}"


def settle(speaker: Recorder, patience: float = 60.0) -> None:
    """Waits until the loudspeaker has been silent for a second."""
    end = time.perf_counter() + patience
    while time.perf_counter() < end:
        if np.abs(speaker.since(time.perf_counter() - 1.2)).max(initial=0.0) < VOICE_LEVEL:
            return
        time.sleep(0.1)


def answers(sound: VirtualSound, folder: Path, count: int, options: list[str]) -> None:
    talk = Talk(sound, folder / "answers.journal", *options)
    outside = []
    with sound.record() as speaker, Recorder(sound.environment, "vmic.monitor", MIC_RATE) as microphone:
        for n in range(count):
            began = time.perf_counter()
            sound.say(clip(CLIPS[n % len(CLIPS)]))
            talk.wait_for(lambda began=began: any(a > began for a, _ in speaker.sounds()), 20)
            settle(speaker)
            said = [b for a, b in microphone.sounds(SPEECH_LEVEL) if a > began]
            replied = [a for a, _ in speaker.sounds(VOICE_LEVEL) if a > began]
            if said and replied:
                outside.append((replied[0] - said[-1]) * 1000)
    talk.end()
    with closing(sqlite3.connect(folder / "answers.journal")) as journal:
        times = [json.loads(body)["ms"] for body, in journal.execute("SELECT body FROM events WHERE kind = 'times'")]
    print(f"ready to listen after {talk.ready_s:.1f} s; {count} messages, {len(times)} heard as such")
    print("from the journal [ms]")
    for stage in ("gate", "wait", "decode", "guidance", "journal", "speech", "end_to_speech"):
        print(f"  {stage:14} {spread([one[stage] for one in times if stage in one])}")
    print("from outside [ms]: the end of the words to the first sound of the reply")
    print(f"  {'end to sound':14} {spread(outside)}")


def silences(sound: VirtualSound, folder: Path, count: int, echo: bool, options: list[str], lag_ms: int) -> None:
    """Says "stop talking" and the others while the longest answer is said."""
    talk = Talk(sound, folder / f"stop-{echo}.journal", *options, *([] if echo else ["--earpiece"]))
    took, missed = [], 0
    module = sound.loopback(lag_ms) if echo else ""
    where = f"the microphone hears the loudspeaker, {lag_ms} ms late" if echo else "earpiece"
    with sound.record() as speaker, Recorder(sound.environment, "vmic.monitor", MIC_RATE) as microphone:
        sound.say(clip("05_rafters.flac"))
        settle(speaker)
        for _ in range(count):
            began = time.perf_counter()
            heard = len(talk.lines)
            sound.say(spoken("Field aid, status."))
            if not talk.wait_for(lambda began=began: any(a > began for a, _ in speaker.sounds()), 20):
                missed += 1
                continue
            said = sound.say(spoken("Stop talking."), pad_s=0.05) - 0.05
            if not echo:
                said = [b for a, b in microphone.sounds(SPEECH_LEVEL) if a > began][-1]
            settle(speaker)
            if any("heard: stop talking" in line for line in talk.lines[heard:]):
                took.append((max(b for _, b in speaker.sounds()) - said) * 1000)
            else:
                missed += 1
        print(f"stop talking, {where}: end of the words to silence [ms]  {spread(took)}   "
              f"not heard {missed} of {count}", flush=True)
        over_voice(sound, talk, speaker, "say again", ["Say again."] * count, where)
        # The roof has four sides; whether the tool took the danger or asked for it again is told apart.
        over_voice(sound, talk, speaker, "danger", [f"Soft on {one}!" for one in SIDES[:count]], where)
    if module:
        sound.unload(module)
    talk.end()


def over_voice(sound: VirtualSound, talk: Talk, speaker: Recorder, what: str, lines: list[str], where: str) -> None:
    """How many of `lines`, each said into the middle of an answer, count, are asked for again, or are not heard."""
    counted, asked = 0, 0
    for line in lines:
        began, heard = time.perf_counter(), len(talk.lines)
        sound.say(spoken("Field aid, status."))
        talk.wait_for(lambda began=began: any(a > began for a, _ in speaker.sounds()), 20)
        sound.say(spoken(line), pad_s=0.05)
        settle(speaker)
        words = line.strip(".!").lower()
        if any(f"heard: {words}" in one.lower() for one in talk.lines[heard:]):
            again = any("Danger?" in one for one in talk.lines[heard:])
            counted, asked = counted + (not again), asked + again
        if what == "danger":
            sound.say(spoken("Leaving."))  # or its bursts would be talked into next
            settle(speaker)
    print(f"{what}, {where}: counts {counted} of {len(lines)}, asked for again {asked}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--stops", type=int, default=5)
    parser.add_argument("--lag", type=int, default=20, help="how late the microphone hears the loudspeaker [ms]")
    parser.add_argument("--only", choices=("earpiece", "loudspeaker"), help="with which microphone to interrupt")
    parser.add_argument("--recogniser")
    options = parser.parse_args()
    if missing := missing_programs():
        parser.error(f"pulseaudio is not installed ({', '.join(missing)} not found)")
    more = ["--recogniser", options.recogniser] if options.recogniser else []
    with tempfile.TemporaryDirectory() as place:
        home = Path(place) / "home"
        home.mkdir()
        sound = VirtualSound(home)
        try:
            if options.count:
                answers(sound, Path(place), options.count, more)
            for echo in (False, True) if options.stops else ():
                if options.only in (None, "loudspeaker" if echo else "earpiece"):
                    silences(sound, Path(place), options.stops, echo, more, options.lag)
        finally:
            sound.stop()


if __name__ == "__main__":
    main()
