"""Writes a checkpoint as the model that is shipped: `python export.py CHECKPOINT.npz OUT.onnx`

The weights of the matrix products become 8 bit; the convolutions and the head stay as they are. Prints how far the
letters' log-probabilities move, and sizes. Needs torch, onnx and onnxruntime.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import network
import numpy as np
import onnx
import onnxruntime
import torch
from onnxruntime.quantization import QuantType, quantize_dynamic

sys.path.insert(0, str(Path(__file__).resolve().parents[3]))
from fieldaid.hearing.acoustic.features import log_mel


def main() -> None:
    checkpoint, out = sys.argv[1], Path(sys.argv[2])
    model = network.load(checkpoint)
    rng = np.random.default_rng(3)
    mel = log_mel(rng.standard_normal(48_000).astype(np.float32) * np.repeat(rng.uniform(0, 1, 30), 1600))[None]
    with tempfile.TemporaryDirectory() as folder:
        exact = Path(folder) / "exact.onnx"
        torch.onnx.export(model, (torch.from_numpy(mel),), str(exact), input_names=["mel"], output_names=["log_probs"],
                          dynamic_axes={"mel": {2: "frames"}, "log_probs": {1: "half"}}, opset_version=17, dynamo=False)
        heads = [node.name for node in onnx.load(str(exact)).graph.node if node.name.startswith("/head")]
        quantize_dynamic(str(exact), str(out), weight_type=QuantType.QInt8, op_types_to_quantize=["MatMul", "Gemm"],
                         per_channel=True, nodes_to_exclude=heads)
        with torch.no_grad():
            truth = model(torch.from_numpy(mel)).numpy()
        for name, path in (("exact", exact), ("8 bit", out)):
            found = onnxruntime.InferenceSession(str(path)).run(None, {"mel": mel})[0]
            print(f"{name}: {path.stat().st_size / 1e6:.1f} MB; log-probabilities differ by at most "
                  f"{np.abs(found - truth).max():.3f}, on average {np.abs(found - truth).mean():.4f}")


if __name__ == "__main__":
    main()
