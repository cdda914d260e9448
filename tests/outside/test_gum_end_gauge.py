"""Propagation of uncertainty as used here, against the end-gauge example of the GUM.

Source: JCGM 100:2008, H.1 (H.1.3 inputs, H.1.4 result; read in secondary copies): l = 50.000 838 mm, uc = 32 nm. The
second-order terms of H.1.7, which a linear propagation leaves out, would make it 34.
"""

import math

from uncertainties import ufloat

NM = 1e-6
"""mm."""


def test_end_gauge_calibration() -> None:
    standard_mm = ufloat(50.000623, 25 * NM)
    difference_mm = ufloat(215 * NM, math.hypot(5.8, 3.9, 6.7) * NM)
    expansion = ufloat(11.5e-6, 2e-6 / math.sqrt(3))
    off_temperature = ufloat(-0.1, math.hypot(0.2, 0.5 / math.sqrt(2)))
    expansion_difference = ufloat(0, 1e-6 / math.sqrt(3))
    temperature_difference = ufloat(0, 0.05 / math.sqrt(3))
    correction = standard_mm * (expansion_difference * off_temperature + expansion * temperature_difference)
    length_mm = standard_mm + difference_mm - correction
    assert round(length_mm.nominal_value, 6) == 50.000838
    assert round(length_mm.std_dev / NM) == 32
    contributions = {round(std / NM, 1) for std in length_mm.error_components().values()}
    assert {25.0, 2.9, 16.6} <= contributions
