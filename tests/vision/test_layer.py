from typing import Literal

import numpy as np
import pytest
from scipy import signal

from vision.layer import Layer, above_zero, folded


@pytest.mark.parametrize("is_round", [True, False])
@pytest.mark.parametrize("rows_at_a_time", [1, 3, 100])
@pytest.mark.parametrize(("size", "spread"), [(5, 1), (3, 1), (3, 4), (3, 16), (1, 1)])
def test_a_layer_is_a_correlation(
    size: int, spread: int, rows_at_a_time: int, is_round: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against `scipy.signal.correlate2d`; a neighbour may lie farther off than the image is wide or high."""
    monkeypatch.setattr("vision.layer.BLOCK", 14 * rows_at_a_time)
    rng = np.random.default_rng(3)
    image = rng.normal(size=(2, 24, 14)).astype(np.float32)
    weights = rng.normal(size=(3, 2, size, size)).astype(np.float32)
    bias = rng.normal(size=3).astype(np.float32)
    got = Layer(weights, bias, spread, is_round=is_round).over(image)
    pad = spread * (size // 2)
    beyond: Literal["wrap", "constant"] = "wrap" if is_round else "constant"
    wide = np.stack([np.pad(np.pad(part, ((0, 0), (pad, pad)), beyond), ((pad, pad), (0, 0))) for part in image])
    spaced = np.zeros((3, 2, 2 * pad + 1, 2 * pad + 1))
    spaced[:, :, ::spread, ::spread] = weights
    for out in range(3):
        wanted = sum(signal.correlate2d(wide[into], spaced[out, into], mode="valid") for into in range(2))
        assert got[out] == pytest.approx(wanted + bias[out], abs=1e-4)


def test_each_two_by_two_pixels_come_to_lie_over_one_another() -> None:
    image = np.arange(2 * 4 * 6, dtype=np.float32).reshape(2, 4, 6)
    assert folded(image).shape == (8, 2, 3)
    assert folded(image)[4 + 2 + 1].tolist() == image[1, 1::2, 1::2].tolist()


def test_what_is_below_zero_is_cut_off() -> None:
    assert above_zero(np.array([[-1.0, 2.0]], np.float32)).tolist() == [[0.0, 2.0]]
