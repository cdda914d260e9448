"""What every way to a measurement goes through."""

from pathlib import Path

import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from service.measuring import measure
from service.options import Order
from vision import Measurement, Photo, Request

PHOTO = Path(__file__).parents[2] / "sample_images_synthetic" / "first" / "s01.jpg"


def blas_threads() -> set[int]:
    return {pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"}


def test_a_photo_takes_no_more_than_one_thread_of_linear_algebra(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two photos measured side by side would else wait for each other; what runs beside them keeps its threads."""
    seen: list[set[int]] = []

    def look(photo: Photo, _: Request) -> Measurement:
        seen.append(blas_threads())
        return Measurement(photo.name, "face").refuse("no-rotor")

    monkeypatch.setattr("service.measuring.measure_face", look)
    with threadpool_limits(2, "blas"):
        measure(PHOTO, PHOTO.name, Order("face", Request("tag")))
        assert blas_threads() == {2}
    assert seen == [{1}]
