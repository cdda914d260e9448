"""Scale references as drawings: bank card, face tag, coin and sheet, each of its own true size.

Frame: millimetres; a reference lies on the plane z = 0 with its middle at the origin and its face up at
z = ``thickness_mm``, x to the right and y up as its print is read. ``figure_mm`` gives the points whose picture
goes into ``truth.json`` as ``reference_px``: corners go top left, top right, bottom right, bottom left.
Meshes and prints come from ``reference_mesh.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

COIN_BEVEL_MM = 0.15
EDGE_POINTS = 72


@dataclass(frozen=True)
class Card:
    """An ID-1 card; ``design`` names one of `CARD_DESIGNS` and ``print_seed`` its details."""

    width_mm: float
    height_mm: float
    corner_radius_mm: float
    thickness_mm: float
    design: str
    print_seed: int
    kind: str = "card"

    @property
    def detail(self) -> str:
        """The design's name."""
        return self.design

    def figure_mm(self) -> FloatArray:
        """Corners of the outline before rounding, on the upper face, (4, 3)."""
        return rectangle_mm(self.width_mm, self.height_mm, self.thickness_mm)


CARD_DESIGNS = ("light", "white", "dark", "black", "two-tone", "stripe", "chip", "bands", "blend")


@dataclass(frozen=True)
class Tag:
    """A printed face tag: AprilTag 36h11, a black square on white paper of about 50 mm."""

    marker_id: int
    black_mm: float
    paper_mm: float
    shift_mm: tuple[float, float]
    thickness_mm: float
    kind: str = "tag"

    @property
    def detail(self) -> str:
        """The marker's number."""
        return str(self.marker_id)

    def figure_mm(self) -> FloatArray:
        """Outer corners of the black square, (4, 3), in the order in which detectors name them."""
        shift = np.array((*self.shift_mm, 0.0))
        return np.asarray(rectangle_mm(self.black_mm, self.black_mm, self.thickness_mm) + shift)


@dataclass(frozen=True)
class CoinSize:
    """A coin's published size: the diameter (largest width), thickness, and what its edge and metals are."""

    diameter_mm: float
    thickness_mm: float
    reeds: int = 0
    sides: int = 0
    core_mm: float = 0.0
    metal: str = "nickel"
    core_metal: str = ""


# Euro: Reg. (EC) 975/98 and Council Reg. (EU) 729/2014, Annex I. Dollar: US Mint, Coin Specifications. Pound:
# Royal Mint. The widths of the two-metal coins' cores and the reeds of the others are from memory: looks only.
COIN_SIZES: dict[str, CoinSize] = {
    "eur-2": CoinSize(25.75, 2.20, reeds=200, core_mm=18.5, metal="nickel", core_metal="brass"),
    "eur-1": CoinSize(23.25, 2.33, reeds=60, core_mm=16.5, metal="brass", core_metal="nickel"),
    "eur-0.50": CoinSize(24.25, 2.38, reeds=70, metal="gold"),
    "eur-0.10": CoinSize(19.75, 1.93, reeds=50, metal="gold"),
    "eur-0.05": CoinSize(21.25, 1.67, metal="copper"),
    "usd-0.25": CoinSize(24.26, 1.75, reeds=119, metal="nickel"),
    "usd-0.01": CoinSize(19.05, 1.52, metal="copper"),
    "usd-0.05": CoinSize(21.21, 1.95, metal="nickel"),
    "usd-1": CoinSize(26.49, 2.00, metal="gold"),
    "gbp-2": CoinSize(28.40, 2.50, reeds=140, core_mm=20.0, metal="brass", core_metal="nickel"),
    "gbp-1": CoinSize(23.43, 2.80, sides=12, core_mm=15.2, metal="brass", core_metal="nickel"),
    "gbp-0.10": CoinSize(24.50, 1.85, reeds=120, metal="nickel"),
}


@dataclass(frozen=True)
class Coin:
    """A coin as struck and worn; ``relief_seed`` draws its invented relief."""

    name: str
    diameter_mm: float
    thickness_mm: float
    relief_seed: int
    kind: str = "coin"

    @property
    def detail(self) -> str:
        """Which coin it is, ``eur-2`` for instance."""
        return self.name

    def figure_mm(self) -> FloatArray:
        """Points of the edge's upper circle, (72, 3); the corners of a coin with sides."""
        count = COIN_SIZES[self.name].sides or EDGE_POINTS
        angle = 2 * np.pi * np.arange(count) / count
        radius, height = self.diameter_mm / 2, self.thickness_mm - COIN_BEVEL_MM
        return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.full(count, height)])


# ISO 216 (A4) and ANSI/ASME Y14.1 (Letter), width and height of the upright sheet.
SHEET_SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
SHEET_TOLERANCE_MM = 2.0  # ISO 216, lengths over 150 up to 600 mm


@dataclass(frozen=True)
class Sheet:
    """A sheet of paper, upright; corners curl up by ``curl_mm`` (same order as the figure)."""

    kind: str
    width_mm: float
    height_mm: float
    thickness_mm: float
    curl_mm: tuple[float, float, float, float]
    ruled: bool
    print_seed: int

    @property
    def detail(self) -> str:
        """Whether the sheet is blank or printed with lines."""
        return "ruled" if self.ruled else "blank"

    def lift_mm(self, xy_mm: FloatArray) -> FloatArray:
        """Height of the sheet's under side over the bench at points ``(x, y)``, (N,)."""
        across, up = xy_mm[:, 0] / self.width_mm + 0.5, xy_mm[:, 1] / self.height_mm + 0.5
        # Each corner lifts alone: the curl fades out with the square of the distance.
        near = [(1 - across, up), (across, up), (across, 1 - up), (1 - across, 1 - up)]
        return np.asarray(
            sum(c * np.maximum(a + b - 1.0, 0.0) ** 2 for c, (a, b) in zip(self.curl_mm, near, strict=True))
        )

    def figure_mm(self) -> FloatArray:
        """Corners of the sheet where they really are, curl and all, (4, 3)."""
        corners = rectangle_mm(self.width_mm, self.height_mm, self.thickness_mm)
        corners[:, 2] += self.lift_mm(corners[:, :2])
        return corners


Reference = Card | Tag | Coin | Sheet


def rectangle_mm(width_mm: float, height_mm: float, z_mm: float) -> FloatArray:
    """Return the corners from the top left clockwise, (4, 3)."""
    x, y = width_mm / 2, height_mm / 2
    return np.array([[-x, y, z_mm], [x, y, z_mm], [x, -y, z_mm], [-x, -y, z_mm]])


def draw_card(rng: np.random.Generator, *, design: str | None = None) -> Card:
    """Draw a card within ISO/IEC 7810's limits for an unused one."""
    design = design or str(rng.choice(CARD_DESIGNS))
    if design not in CARD_DESIGNS:
        raise ValueError(f"a card's design is one of {', '.join(CARD_DESIGNS)}, not {design!r}")
    return Card(
        width_mm=float(rng.uniform(85.47, 85.72)),
        height_mm=float(rng.uniform(53.92, 54.03)),
        corner_radius_mm=float(rng.uniform(2.88, 3.48)),
        thickness_mm=float(rng.uniform(0.68, 0.84)),
        design=design,
        print_seed=int(rng.integers(2**31)),
    )


def draw_tag(rng: np.random.Generator, marker_id: int) -> Tag:
    """Draw a face tag: black square 40.0 mm within 0.05, cut out by hand with scissors."""
    if not 0 <= marker_id < 587:
        raise ValueError(f"AprilTag 36h11 has markers 0 to 586, not {marker_id}")
    return Tag(
        marker_id=marker_id,
        black_mm=float(rng.uniform(39.95, 40.05)),
        paper_mm=float(rng.uniform(49.5, 50.5)),
        shift_mm=(float(rng.uniform(-0.4, 0.4)), float(rng.uniform(-0.4, 0.4))),
        thickness_mm=float(rng.uniform(0.1, 0.25)),
    )


def draw_coin(rng: np.random.Generator, name: str) -> Coin:
    """Draw a coin within 0.1 mm of its published diameter (wear takes more than the mint adds)."""
    if name not in COIN_SIZES:
        raise ValueError(f"a coin is one of {', '.join(COIN_SIZES)}, not {name!r}")
    size = COIN_SIZES[name]
    diameter_mm = size.diameter_mm + float(np.clip(rng.normal(-0.02, 0.03), -0.1, 0.05))
    return Coin(name, diameter_mm, size.thickness_mm - float(rng.uniform(0, 0.05)), int(rng.integers(2**31)))


def draw_sheet(rng: np.random.Generator, kind: str, *, curled: bool = True) -> Sheet:
    """Draw a sheet: cut within its tolerance (three sigma), thin, corners perhaps curled up to 4 mm."""
    if kind not in SHEET_SIZES:
        raise ValueError(f"a sheet is one of {', '.join(SHEET_SIZES)}, not {kind!r}")
    errors_mm = np.clip(rng.normal(0, SHEET_TOLERANCE_MM / 3, 2), -SHEET_TOLERANCE_MM, SHEET_TOLERANCE_MM)
    width_mm, height_mm = np.array(SHEET_SIZES[kind]) + errors_mm
    corners = rng.uniform(0, 4, 4) * (rng.random(4) < 0.4) if curled else np.zeros(4)
    a, b, c, d = (float(x) for x in corners)
    return Sheet(
        kind=kind,
        width_mm=float(width_mm),
        height_mm=float(height_mm),
        thickness_mm=float(rng.uniform(0.09, 0.12)),
        curl_mm=(a, b, c, d),
        ruled=bool(rng.random() < 0.5),
        print_seed=int(rng.integers(2**31)),
    )
