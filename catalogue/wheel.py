"""The wheel caps the rotor: what the rim's diameter, read off the tyre's wall, says of the brake behind it."""

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.prepare import Prepared
from catalogue.schema import FloatArray
from catalogue.units import MM_PER_INCH


def least_wheel_in(prepared: Prepared, assumptions: Assumptions) -> FloatArray:
    """Return the least wheel that clears each package row's brake, inches, (P + 1,); of the unknown row NaN.

    Where the catalogue gives none, the rotor's diameter and the caliper's bridge do.
    """
    diameter_mm = prepared.rotor_numbers["diameter_mm"][prepared.rotor]
    by_size = (diameter_mm + assumptions.wheel_clearance_mm) / MM_PER_INCH
    return np.where(np.isfinite(prepared.min_wheel_in), prepared.min_wheel_in, by_size)


def wheel_likelihood(wheel_in: FloatArray | float, least_in: FloatArray, assumptions: Assumptions) -> FloatArray:
    """Return p(wheel | least wheel), up to a factor: one that clears the brake says nothing, a smaller is a slip."""
    clears = np.asarray(wheel_in) >= least_in - assumptions.wheel_spare_step
    return np.where(clears, 1.0, assumptions.gross_error)


def wheels_fitted(least_in: FloatArray, assumptions: Assumptions) -> tuple[FloatArray, FloatArray]:
    """Return the wheels that cars with these brakes may stand on, inches, (W,), and how likely each is, (G, W).

    A car stands on the least wheel or on one of the next sizes up, in whole inches, any alike.
    """
    least = np.ceil(least_in - assumptions.wheel_spare_step)
    sizes = np.arange(least.min(), least.max() + assumptions.wheel_sizes)
    fits = (sizes >= least[:, None]) & (sizes < least[:, None] + assumptions.wheel_sizes)
    return sizes, fits / fits.sum(axis=1, keepdims=True)
