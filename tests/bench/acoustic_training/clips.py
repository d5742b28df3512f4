"""Batches of disturbed clips: spoken texts from shards (see speech.py), noises from a bank (see sounds.py)."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import sounds

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))
from ordinary import plain

from fieldaid.hearing.acoustic.features import HOP, RATE, log_mel

WEIGHTS = {"kokoro": 1.7, "flite": 0.9, "festival": 0.7, "espeak": 0.6}
POOL = 320
"""Clips drawn at once, then sorted by length and cut into batches: little is padded so."""
Batch = tuple[np.ndarray, list[str]]


@dataclass
class Shards:
    """All clips of a folder in one buffer."""

    folder: Path

    def __post_init__(self) -> None:
        self.files: list[Path] = []
        self.refresh()

    def refresh(self) -> None:
        """Read the shards that have come since."""
        files = sorted(self.folder.glob("*.npz"))
        if files == self.files:
            return
        parts, self.texts, lengths, weights = [], [], [], []
        for path in files:
            with np.load(path) as stored:
                parts.append(stored["samples"])
                for length, _, _, text in json.loads(str(stored["about"])):
                    lengths.append(length)
                    self.texts.append(plain(text))
                    weights.append(WEIGHTS[path.name.split("-")[0]])
        self.files, self.buffer, self.lengths = files, np.concatenate(parts), np.array(lengths)
        self.starts = np.concatenate([[0], np.cumsum(self.lengths)[:-1]])
        self.chance = np.array(weights) / np.sum(weights)

    def clip(self, number: int) -> np.ndarray:
        start = self.starts[number]
        return self.buffer[start:start + self.lengths[number]].astype(np.float32) / 32768


class Maker:
    """Makes batches without end.

    Parameters
    ----------
    frames : of 10 ms in a batch, about
    """

    def __init__(self, folder: Path, bank: dict[str, np.ndarray], frames: int, seed: int) -> None:
        self.shards, self.bank, self.frames = Shards(folder), bank, frames
        self.rng = np.random.default_rng(seed)
        self.kinds, self.shares = list(sounds.SHARES), np.array(list(sounds.SHARES.values()))

    def batches(self) -> Iterator[Batch]:
        rng = self.rng
        while True:
            self.shards.refresh()
            drawn = rng.choice(len(self.shards.texts), POOL, p=self.shards.chance)
            speech = [(sounds.stretched(rng, self.shards.clip(one), 0.86, 1.22), self.shards.texts[one],
                       int(rng.uniform(0.05, 0.55) * RATE)) for one in drawn]
            speech.sort(key=lambda one: len(one[0]) + one[2])
            cut: list[list] = [[]]
            for one in speech:
                longest = (len(one[0]) + one[2]) // HOP + 25
                if cut[-1] and longest * (len(cut[-1]) + 1) > self.frames:
                    cut.append([])
                cut[-1].append(one)
            for number in rng.permutation(len(cut)):
                yield self._batch(cut[number])

    def _batch(self, speech: list) -> Batch:
        rng = self.rng
        end = max(len(x) + before for x, _, before in speech) + int(rng.uniform(0.08, 0.4) * RATE)
        n = min(end // 320 * 320, int(12.7 * RATE))
        mels, texts = [], []
        for x, text, before in speech:
            clip = np.zeros(n, np.float32)
            if rng.random() < 0.02:
                text = ""
            else:
                x = x[:n - before]
                clip[before:before + len(x)] = x
            mels.append(self._masked(log_mel(self.disturbed(clip))))
            texts.append(text)
        return np.stack(mels), texts

    def disturbed(self, clip: np.ndarray) -> np.ndarray:
        """A clip of speech at level 0.07 (or of nothing) in a random place, noise and microphone."""
        rng, n = self.rng, len(clip)
        gain = np.ones(n // 2 + 1, np.complex64)
        if rng.random() < 0.3:
            gain *= sounds.room(rng, n)
        if rng.random() < 0.5:
            gain *= sounds.equaliser(rng, n, 9)
        if rng.random() < 0.25:
            gain *= sounds.band(rng, n)
        speaks = bool(clip.any())
        if speaks:
            clip = self._levelled(sounds.filtered(clip, gain))
        covered = rng.random() < 0.28
        if covered and speaks:
            clip = self._levelled(sounds.cover(rng, clip))
        if rng.random() < 0.85 or not speaks:
            ratio = rng.triangular(-4, 9, 32)
            clip = clip + self._noise(n) * np.float32(0.07 * 10 ** (-ratio / 20))
        if rng.random() < (0.15 if covered else 0.12):
            clip = sounds.cover(rng, clip)
        clip = clip / (np.abs(clip).max() + 1e-9)
        if rng.random() < 0.08:
            limit = rng.uniform(0.3, 1)
            clip = np.clip(clip, -limit, limit)
        # A recorder's own noise, and its level.
        clip = clip + rng.standard_normal(n).astype(np.float32) * np.float32(sounds.between(rng, 1e-5, 2e-3))
        return clip * np.float32(rng.uniform(0.1, 1))

    @staticmethod
    def _levelled(x: np.ndarray) -> np.ndarray:
        frames = x[:len(x) // 320 * 320].reshape(-1, 320)
        power = np.square(frames).mean(1)
        return x * np.float32(0.07 / (np.sqrt(power[power > power.max() * 1e-3].mean()) + 1e-9))

    def _noise(self, n: int) -> np.ndarray:
        rng = self.rng
        sound = np.zeros(n, np.float32)
        for _ in range(rng.choice((1, 1, 1, 2, 2, 3))):
            if rng.random() < 0.06:
                one = self._talk(n)
            else:
                kind = self.bank[self.kinds[rng.choice(len(self.kinds), p=self.shares)]]
                speed = rng.uniform(0.75, 1.3)
                need = int(n * speed) + 4
                whole = kind[rng.integers(len(kind))]
                start = rng.integers(len(whole))
                one = np.take(whole, np.arange(start, start + need), mode="wrap").astype(np.float32)
                one = sounds.stretched(rng, one, speed, speed)[:n]
            sound += sounds.unit(one) * np.float32(sounds.between(rng, 0.25, 1))
        if rng.random() < 0.5:
            sound = sounds.filtered(sound, sounds.equaliser(rng, n, 8))
        return sounds.unit(sound)

    def _talk(self, n: int) -> np.ndarray:
        """Some people talking at once."""
        rng, sound = self.rng, np.zeros(n, np.float32)
        for _ in range(rng.integers(3, 7)):
            x = self.shards.clip(rng.integers(len(self.shards.texts)))
            start = rng.integers(-len(x) // 2, n - len(x) // 2)
            low, high = max(0, start), min(n, start + len(x))
            sound[low:high] += x[low - start:high - start]
        return sound

    def _masked(self, mel: np.ndarray) -> np.ndarray:
        """Some bands, and some moments, taken away."""
        rng = self.rng
        if rng.random() < 0.35:
            low = rng.integers(0, 76)
            mel[low:low + rng.integers(1, 12)] = mel.mean()
        if rng.random() < 0.25:
            at = rng.integers(0, mel.shape[1])
            mel[:, at:at + rng.integers(2, 14)] = mel.mean()
        return mel
