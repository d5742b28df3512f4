"""The acoustic model in torch: Whisper's encoder with a head of characters, for training and export."""

from __future__ import annotations

import numpy as np
import torch
import weights
from torch import nn
from torch.nn import functional

CHARACTERS = " 'abcdefghijklmnopqrstuvwxyz"
"""Output 0 is the blank of CTC, output i + 1 is CHARACTERS[i]."""
PLACES = 640
"""Frames of 20 ms: 12.8 s."""


class Block(nn.Module):
    """One layer of a transformer, normalised first."""

    def __init__(self, width: int, heads: int) -> None:
        super().__init__()
        self.heads = heads
        self.ln1, self.ln2 = nn.LayerNorm(width), nn.LayerNorm(width)
        self.qkv, self.out = nn.Linear(width, 3 * width), nn.Linear(width, width)
        self.wide, self.narrow = nn.Linear(width, 4 * width), nn.Linear(4 * width, width)

    def forward(self, x: torch.Tensor, mask: torch.Tensor | None) -> torch.Tensor:
        batch, frames, width = x.shape
        qkv = self.qkv(self.ln1(x)).view(batch, frames, 3, self.heads, width // self.heads).permute(2, 0, 3, 1, 4)
        seen = functional.scaled_dot_product_attention(qkv[0], qkv[1], qkv[2], mask)
        x = x + self.out(seen.transpose(1, 2).reshape(batch, frames, width))
        return x + self.narrow(functional.gelu(self.wide(self.ln2(x))))


class Encoder(nn.Module):
    """Log-mel (batch, 80, frames of 10 ms) to log-probabilities (batch, frames of 20 ms, 1 + characters)."""

    def __init__(self, width: int = 384, heads: int = 6, layers: int = 4, mels: int = 80) -> None:
        super().__init__()
        self.conv1 = nn.Conv1d(mels, width, 3, padding=1)
        self.conv2 = nn.Conv1d(width, width, 3, stride=2, padding=1)
        self.places = nn.Parameter(torch.zeros(PLACES, width), requires_grad=False)
        self.blocks = nn.ModuleList(Block(width, heads) for _ in range(layers))
        self.ln = nn.LayerNorm(width)
        self.head = nn.Linear(width, 1 + len(CHARACTERS))

    def hidden(self, mel: torch.Tensor, mask: torch.Tensor | None = None) -> torch.Tensor:
        x = functional.gelu(self.conv2(functional.gelu(self.conv1(mel)))).transpose(1, 2)
        x = x + self.places[:x.shape[1]]
        for block in self.blocks:
            x = block(x, mask)
        return self.ln(x)

    def forward(self, mel: torch.Tensor, mask: torch.Tensor | None = None) -> torch.Tensor:
        return self.head(self.hidden(mel, mask)).float().log_softmax(-1)


def from_whisper() -> Encoder:
    """With Whisper tiny.en's weights and a new head."""
    model = Encoder()
    state = {name: torch.from_numpy(value) for name, value in
             weights.encoder_state(weights.variables(weights.find()), PLACES).items()}
    missing, unknown = model.load_state_dict(state, strict=False)
    assert not unknown and all(name.startswith("head") for name in missing), (missing, unknown)
    # The places of a clip say where in its 30 s Whisper was; a head that starts near zero keeps them from mattering.
    nn.init.normal_(model.head.weight, std=0.02)
    nn.init.zeros_(model.head.bias)
    return model


def encode_text(text: str) -> list[int]:
    return [CHARACTERS.index(one) + 1 for one in text]


def load(path: str) -> Encoder:
    """From a checkpoint of train.py."""
    model = Encoder()
    with np.load(path) as stored:
        model.load_state_dict({name: torch.from_numpy(stored[name].astype(np.float32)) for name in stored.files
                               if name in model.state_dict()})
    return model.eval()
