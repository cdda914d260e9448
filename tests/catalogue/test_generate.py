"""Invented catalogues load without a fault, whatever their size, and the same seed gives the same one."""

from pathlib import Path

import numpy as np
import pytest

from catalogue.generate import generate_catalogue, main
from catalogue.load import load_catalogue
from catalogue.schema import UNKNOWN


@pytest.mark.parametrize("fitments", [1, 49, 2000])
def test_a_catalogue_of_any_size_loads_without_a_fault(tmp_path: Path, fitments: int) -> None:
    generate_catalogue(tmp_path, fitments=fitments, seed=fitments)
    assert len(load_catalogue(tmp_path).fitments) == fitments


def test_the_same_seed_writes_the_same_files(tmp_path: Path) -> None:
    for name, seed in (("one", 3), ("again", 3), ("other", 4)):
        generate_catalogue(tmp_path / name, fitments=100, seed=seed)
    one, again, other = (
        {path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("one", "again", "other")
    )
    assert one == again
    assert one != other


def test_it_has_what_makes_catalogues_hard(tmp_path: Path) -> None:
    main([str(tmp_path), "--fitments", "3000", "--seed", "1"])
    catalogue = load_catalogue(tmp_path)
    rear = catalogue.packages.axle == 1
    assert len(np.unique(catalogue.packages.rotor[rear])) < 0.6 * rear.sum()  # shared rear rotors
    assert 0.02 < np.isnan(catalogue.rotors.hat_mm).mean() < 0.08  # cells that nobody filled
    sizes = np.stack([catalogue.rotors.diameter_mm, catalogue.rotors.thickness_mm, catalogue.rotors.bolt_circle_mm])
    assert np.unique(sizes, axis=1).shape[1] < len(catalogue.rotors)  # sizes that differ in the face alone
    assert (catalogue.fitments.built_from != UNKNOWN).any()  # changes in mid-year


def test_no_fitment_is_no_catalogue(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least 1, got 0"):
        generate_catalogue(tmp_path, fitments=0, seed=0)
