"""Trains the acoustic model: `python train.py SHARDS BANK.npz FOLDER --until 15:28`

Starts from Whisper tiny.en's encoder, its two convolutions kept as they are. CTC over characters; AdamW; the rate
warms up, then falls as a cosine to the end of the time; the kept weights are a running average. A checkpoint every five
minutes, so that it can be stopped at any time. On two cores of a server CPU a step of 80 s of sound takes about 2 s.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import time
from pathlib import Path

import numpy as np


def make_batches(folder: Path, bank: Path, frames: int, seed: int, queue) -> None:
    """In a process of its own."""
    import clips

    with np.load(bank) as stored:
        noises = {name: stored[name] for name in stored.files}
    for batch in clips.Maker(folder, noises, frames, seed).batches():
        queue.put(batch)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("shards", type=Path)
    parser.add_argument("bank", type=Path)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--until", required=True, help="time of day at which it ends, HH:MM")
    parser.add_argument("--frames", type=int, default=8500, help="of 10 ms in a batch")
    parser.add_argument("--rate", type=float, default=2e-4)
    parser.add_argument("--makers", type=int, default=1)
    parser.add_argument("--warm", type=int, default=150, help="steps over which the rate rises")
    parser.add_argument("--start", help="a checkpoint to go on from")
    options = parser.parse_args()
    context = multiprocessing.get_context("spawn")
    queue = context.Queue(6)
    for seed in range(options.makers):
        context.Process(target=make_batches, daemon=True,
                        args=(options.shards, options.bank, options.frames, int(time.time()) + seed, queue)).start()

    import network
    import torch
    from torch.nn import functional

    torch.set_num_threads(2)
    torch.manual_seed(1)
    model = network.load(options.start).train() if options.start else network.from_whisper().train()
    for layer in (model.conv1, model.conv2):
        layer.requires_grad_(False)
    learning = [(name, one) for name, one in model.named_parameters() if one.requires_grad]
    groups = [{"params": [one for name, one in learning if not name.startswith("head")], "lr": options.rate},
              {"params": list(model.head.parameters()), "lr": options.rate * (8 if not options.start else 1)}]
    rates = [one["lr"] for one in groups]
    optimiser = torch.optim.AdamW(groups, betas=(0.9, 0.98), weight_decay=0.01, fused=True)
    mean = {name: one.detach().clone() for name, one in model.state_dict().items()}
    hour, minute = map(int, options.until.split(":"))
    now = time.localtime()
    seconds = (hour - now.tm_hour) * 3600 + (minute - now.tm_min) * 60 - now.tm_sec
    begin = saved = time.time()
    options.folder.mkdir(parents=True, exist_ok=True)
    losses, heard, step, waited = [], 0.0, 0, 0.0
    while (done := (time.time() - begin) / seconds) < 1:
        share = min(1, (step + 1) / options.warm) * (0.49 * (1 + math.cos(math.pi * done)) + 0.02)
        for group, rate in zip(optimiser.param_groups, rates, strict=True):
            group["lr"] = rate * share
        asked = time.time()
        mels, texts = queue.get()
        waited += time.time() - asked
        with torch.autocast("cpu", torch.bfloat16):
            found = model(torch.from_numpy(mels))
        sizes = torch.tensor([len(text) for text in texts])
        targets = torch.tensor([one for text in texts for one in network.encode_text(text)], dtype=torch.long)
        loss = functional.ctc_loss(found.transpose(0, 1), targets, torch.full((len(texts),), found.shape[1]), sizes,
                                   zero_infinity=True, reduction="none")
        loss = (loss / sizes.clamp_min(6)).mean()
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_([one for _, one in learning], 1.0)
        optimiser.step()
        step += 1
        keep = min(0.998, step / (step + 12))
        with torch.no_grad():
            for name, one in model.state_dict().items():
                mean[name].lerp_(one, 1 - keep)
        losses.append(float(loss.detach()))
        heard += mels.shape[0] * mels.shape[2] / 100
        if step % 25 == 0:
            took = time.time() - begin
            print(f"step {step} loss {np.mean(losses[-25:]):.3f} rate {rates[0] * share:.1e} "
                  f"{took / step:.2f} s a step, {waited / took:.0%} waiting, {heard / 3600:.1f} h", flush=True)
        if time.time() - saved > 300:
            saved = time.time()
            save(options.folder / "last.npz", mean, step, heard, losses)
    save(options.folder / "final.npz", mean, step, heard, losses)


def save(path: Path, state: dict, step: int, heard: float, losses: list[float]) -> None:
    part = path.with_suffix(".part")
    with part.open("wb") as out:
        np.savez(out, **{name: one.numpy() for name, one in state.items()},
                 step=step, hours=heard / 3600, losses=np.array(losses, np.float32))
    part.rename(path)
    print(f"{path} at step {step}", flush=True)


if __name__ == "__main__":
    main()
