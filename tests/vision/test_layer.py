from typing import Literal

import numpy as np
import pytest
from scipy import signal

from vision.layer import Layer, above_zero


@pytest.mark.parametrize("is_round", [True, False])
@pytest.mark.parametrize(("size", "stride", "spread"), [(5, 2, 1), (3, 1, 1), (3, 1, 4), (1, 1, 1)])
def test_a_layer_is_a_correlation(size: int, stride: int, spread: int, is_round: bool) -> None:
    """Against `scipy.signal.correlate2d`."""
    rng = np.random.default_rng(3)
    image = rng.normal(size=(2, 14, 24)).astype(np.float32)
    weights = rng.normal(size=(3, 2, size, size)).astype(np.float32)
    bias = rng.normal(size=3).astype(np.float32)
    got = Layer(weights, bias, stride, spread, is_round=is_round).over(image)
    pad = spread * (size // 2)
    beyond: Literal["wrap", "constant"] = "wrap" if is_round else "constant"
    wide = np.stack([np.pad(np.pad(part, ((0, 0), (pad, pad)), beyond), ((pad, pad), (0, 0))) for part in image])
    spaced = np.zeros((3, 2, 2 * pad + 1, 2 * pad + 1))
    spaced[:, :, ::spread, ::spread] = weights
    for out in range(3):
        wanted = sum(signal.correlate2d(wide[into], spaced[out, into], mode="valid") for into in range(2))
        assert got[out] == pytest.approx((wanted + bias[out])[::stride, ::stride], abs=1e-4)


def test_what_is_below_zero_is_cut_off() -> None:
    assert above_zero(np.array([[-1.0, 2.0]], np.float32)).tolist() == [[0.0, 2.0]]
