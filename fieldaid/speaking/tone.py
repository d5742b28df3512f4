"""The attention tone before a leave or stop line.

0.64 s long, most of it between 500 and 3,000 Hz (MIL-STD-1472E 5.3.3; 5.3.6: at least half a second). The two
kinds differ from the start (5.3.4.3.3) and no other sound of fieldaid has a tone, which keeps the sounds to
tell apart at two, of at most four (5.3.4.3.1).
"""

from __future__ import annotations

import numpy as np

LEVEL = 0.9
RAMP = 0.008  # [s], so that the edges do not click

# (frequency [Hz], length [s]); 0 Hz is a gap.
PATTERNS: dict[str, tuple[tuple[float, float], ...]] = {
    "leave": ((650.0, 0.08), (1000.0, 0.08)) * 4,
    "stop": ((820.0, 0.27), (0.0, 0.10), (820.0, 0.27)),
}


def attention(kind: str, rate: int) -> np.ndarray:
    """Samples (float32, mono, at `rate` [Hz]) of the tone for `kind`; no samples for a kind without one."""
    parts = [_segment(frequency, length, rate) for frequency, length in PATTERNS.get(kind, ())]
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def _segment(frequency: float, length: float, rate: int) -> np.ndarray:
    count = round(length * rate)
    if not frequency:
        return np.zeros(count, np.float32)
    phase = 2 * np.pi * frequency * np.arange(count) / rate
    # The third harmonic puts energy into a second octave band, for when noise fills the first.
    wave = np.sin(phase) + 0.3 * np.sin(3 * phase)
    ramp = min(round(RAMP * rate), count // 2)
    edge = np.sin(np.linspace(0, np.pi / 2, ramp)) ** 2
    wave[:ramp] *= edge
    wave[count - ramp:] *= edge[::-1]
    return (LEVEL * wave / np.abs(wave).max()).astype(np.float32)
