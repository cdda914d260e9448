"""A rotor's mass from its geometry, for the parcel and as a check on what was told."""

import math
from typing import cast

from uncertainties import UFloat, ufloat

from catalogue.schema import Rotor

IRON_G_PER_CM3 = (7.2, 0.1)
"""Grey iron: EN 1561, informative value of EN-GJL-250 (7.20); GJL-300 has 7.25, GJL-150 7.10 (from memory)."""

ALUMINIUM_G_PER_CM3 = (2.7, 0.05)
"""Aluminium alloys of two-piece hats: handbook value."""

CARBON_CERAMIC_G_PER_CM3 = (2.35, 0.15)
"""Carbon fibre in silicon carbide, from memory: 2.2 to 2.5."""

AIR_SHARE = (0.30, 0.05)
"""Share of a vented ring's volume that is air between the vanes; common practice: cheeks of a quarter to a third
of the thickness each, vanes filling a quarter of the gap."""

WALL_MM = (7.0, 1.5)
"""Thickness of the hat's wall and mounting plate and of the neck between hat and ring, mm; common practice."""

RING_WIDTH_SHARE = (0.175, 0.02)
"""Width of the friction ring over the diameter where the ring's inner edge is not known; common practice."""

NECK_MM = (18.0, 7.0)
"""Ring's inner edge to hat, mm, where the hat's diameter is not known; common practice."""

HAT_DEPTH_MM = (27.0, 8.0)
"""Height less thickness, mm, where the height is not known; common practice."""

BORE_MM = (67.0, 5.0)
"""Centre bore, mm, where it is not known; common practice."""


def mass_from_geometry(rotor: Rotor) -> UFloat:
    """Estimate a new rotor's mass from its lengths.

    Ring, neck, wall and plate of the hat as cylinders; slots, holes, bolts and chamfers (about 2 %) stay out.

    Parameters
    ----------
    rotor : Rotor
        What is not known takes a believable value with a wide deviation; ventilation not known
        counts as half vented, construction and material as one piece of iron.

    Returns
    -------
    UFloat
        Mass, kg, with the standard deviation that the assumptions of this file give it.

    References
    ----------
    EN 1561 (density, informative); the volume of a hollow cylinder.
    """
    diameter_mm, thickness_mm = rotor.diameter_mm, rotor.thickness_mm
    ring_inner_mm = _known(rotor.ring_inner_mm, diameter_mm * (1 - 2 * ufloat(*RING_WIDTH_SHARE)))
    hat_mm = _known(rotor.hat_mm, ring_inner_mm - ufloat(*NECK_MM))
    depth_mm = ufloat(*HAT_DEPTH_MM) if rotor.height_mm is None else rotor.height_mm - thickness_mm
    bore_mm = _known(rotor.centre_bore_mm, ufloat(*BORE_MM))
    wall_mm = ufloat(*WALL_MM)
    ring_cm3 = _hollow_cm3(diameter_mm, ring_inner_mm, thickness_mm) * (1 - _air_share(rotor.ventilation))
    wall_cm3 = _hollow_cm3(hat_mm, hat_mm - 2 * wall_mm, depth_mm)
    plate_cm3 = _hollow_cm3(hat_mm, bore_mm, wall_mm)
    neck_cm3 = _hollow_cm3(ring_inner_mm, hat_mm, wall_mm)
    ring_density = ufloat(*(CARBON_CERAMIC_G_PER_CM3 if rotor.material == "carbon-ceramic" else IRON_G_PER_CM3))
    hat_density = ufloat(*ALUMINIUM_G_PER_CM3) if rotor.construction == "two-piece" else ring_density
    return cast("UFloat", (ring_cm3 * ring_density + (wall_cm3 + plate_cm3 + neck_cm3) * hat_density) / 1000)


def _known(length_mm: float | None, otherwise_mm: UFloat) -> UFloat | float:
    return otherwise_mm if length_mm is None else length_mm


def _air_share(ventilation: str | None) -> UFloat | float:
    if ventilation == "solid":
        return 0.0
    vented = ufloat(*AIR_SHARE)
    return vented if ventilation == "vented" else ufloat(vented.nominal_value / 2, vented.nominal_value / 2)


def _hollow_cm3(outer_mm: UFloat | float, inner_mm: UFloat | float, length_mm: UFloat | float) -> UFloat:
    return cast("UFloat", math.pi / 4 * (outer_mm**2 - inner_mm**2) * length_mm / 1000)
