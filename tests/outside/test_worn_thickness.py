"""The closed form of a worn ring's thickness against numerical integration (scipy.integrate)."""

import numpy as np
import pytest
from scipy import integrate, stats

from catalogue.assumptions import default_assumptions
from catalogue.population import Spread
from catalogue.thickness import Limits, ThicknessReadings, log_thickness, log_worn

ASSUMED = default_assumptions()
REL = 1e-6


def one_ring(new_mm: float, discard_mm: float) -> Limits:
    return Limits(np.array([new_mm]), np.array([discard_mm]), np.array([np.nan]))


def worn_density(read_mm: float, std_mm: float, new_mm: float, discard_mm: float) -> float:
    """Density of nominal less wear plus error: even wear to the limit, an exponential tail below it."""
    past, scale = ASSUMED.wear_below_limit, ASSUMED.wear_below_scale_mm

    def even(worn_to: float) -> float:
        return float(stats.norm.pdf(read_mm, worn_to, std_mm)) / (new_mm - discard_mm)

    def tail(below: float) -> float:
        return float(stats.norm.pdf(read_mm, discard_mm - below, std_mm)) * float(stats.expon.pdf(below, scale=scale))

    def peaks(low: float, high: float, at: float) -> list[float]:
        return [at] if low < at < high else []

    above, _ = integrate.quad(
        even, discard_mm, new_mm, points=peaks(discard_mm, new_mm, read_mm), epsabs=1e-13, limit=300
    )
    far = 12 * scale + max(0.0, discard_mm - read_mm) + 10 * std_mm
    under, _ = integrate.quad(tail, 0, far, points=peaks(0, far, discard_mm - read_mm), epsabs=1e-13, limit=300)
    return float((1 - past) * above + past * under)


@pytest.mark.parametrize("std_mm", [0.05, 0.18, 0.6])
@pytest.mark.parametrize("read_mm", [24.4, 24.0, 23.2, 22.1, 21.7, 20.5])
def test_closed_form_is_the_integral(read_mm: float, std_mm: float) -> None:
    closed = float(np.exp(log_worn(np.array([read_mm]), std_mm, one_ring(24, 22), ASSUMED))[0])
    assert closed == pytest.approx(worn_density(read_mm, std_mm, 24, 22), rel=REL, abs=1e-12)


def test_closed_form_is_a_density() -> None:
    read = np.linspace(10, 28, 20_001)
    limits = Limits(np.full_like(read, 24.0), np.full_like(read, 22.0), np.full_like(read, np.nan))
    total = integrate.simpson(np.exp(log_worn(read, 0.18, limits, ASSUMED)), x=read)
    assert total == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("reads_mm", [(23.1, 23.2), (22.0, 22.1, 21.95)])
def test_readings_that_share_a_wear_are_integrated_over_it_once(reads_mm: tuple[float, ...]) -> None:
    """Independent errors on one worn thickness, whose tolerance is shared too; gross errors as in the table."""
    std, tolerance, gross = 0.15, ASSUMED.tolerance_mm["thickness_mm"], ASSUMED.gross_error
    spread = Spread(20.0, 6.0)
    readings = ThicknessReadings(np.array(reads_mm), np.full(len(reads_mm), std), new=0.0, lip=0.0)
    closed = float(np.exp(log_thickness(readings, one_ring(24, 22), ASSUMED, spread))[0])
    total = 0.0
    for mask in range(2 ** len(reads_mm)):
        sound = [read for place, read in enumerate(reads_mm) if not mask >> place & 1]
        bad = [read for place, read in enumerate(reads_mm) if mask >> place & 1]
        weight = gross ** len(bad) * (1 - gross) ** len(sound)
        weight *= float(np.prod([stats.norm.pdf(read, spread.mean, np.hypot(spread.std, std)) for read in bad]))
        total += weight * (_shared(sound, std, tolerance) if sound else 1.0)
    assert closed == pytest.approx(total, rel=1e-5)


def _shared(reads: list[float], std: float, tolerance: float) -> float:
    """Integrate over the thickness under the jaws, drawn from the worn density with the tolerance."""

    def integrand(thickness: float) -> float:
        own = np.exp(log_worn(np.array([thickness]), tolerance, one_ring(24, 22), ASSUMED))[0]
        return float(own * np.prod(stats.norm.pdf(reads, thickness, std)))

    middle = float(np.mean(reads))
    value, _ = integrate.quad(integrand, middle - 1.5, middle + 1.5, points=[middle, 22.0, 24.0], limit=300)
    return float(value)
