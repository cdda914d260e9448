"""The references a person can name: their sizes, tolerances and sources, and the reading of a KIND."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

Family = Literal["auto", "tag", "card", "coin", "sheet", "bolt-circle", "points"]
Lies = Literal["face", "bench", "hat"]

# A tolerance given as a plus-or-minus limit is taken as spread evenly between its ends.
EVENLY = 1.0 / math.sqrt(3.0)


@dataclass(frozen=True)
class Reference:
    """A thing of known size.

    Attributes
    ----------
    kind : str
        As the contract names it; for ``points`` without the coordinates.
    family : str
        Which finder looks for it.
    size_mm : (float, float)
        Width and height; a round thing's diameter twice; a length and 0 for points.
    size_std_mm : (float, float)
        Standard deviations of the true size; a second value of 0 means that both sides share one scale.
    thickness_mm, thickness_std_mm : float
        How high its upper side stands over what it lies on.
    curl_mm, curl_std_mm : float
        How far each of its corners curls up from there.
    lies : {"face", "bench", "hat"}
        Where it lies unless told otherwise.
    print_checked : bool
        False where a printout's scale is taken on trust.
    points_px : ((float, float), (float, float)), optional
        The marks of ``points``, ``(x, y)`` of the photo as displayed.
    """

    kind: str
    family: Family
    size_mm: tuple[float, float] = (0.0, 0.0)
    size_std_mm: tuple[float, float] = (0.0, 0.0)
    thickness_mm: float = 0.0
    thickness_std_mm: float = 0.0
    curl_mm: float = 0.0
    curl_std_mm: float = 0.0
    lies: Lies = "face"
    print_checked: bool = True
    points_px: tuple[tuple[float, float], tuple[float, float]] | None = None

    @property
    def size_std(self) -> tuple[float, float]:
        """Relative standard deviations of the true size along x and y, as a `Figure` holds them."""
        (width, height), (std_x, std_y) = self.size_mm, self.size_std_mm
        return std_x / width if width else 0.0, std_y / height if height else 0.0


def _coin(kind: str, diameter_mm: float, thickness_mm: float, std_mm: float = 0.05) -> Reference:
    """Return a coin. Nineteen in twenty circulating coins are within 0.1 mm of their size (common practice)."""
    return Reference(
        f"coin:{kind}",
        "coin",
        size_mm=(diameter_mm, diameter_mm),
        size_std_mm=(std_mm, 0.0),
        thickness_mm=thickness_mm,
        thickness_std_mm=0.1,
    )


AUTO = Reference("auto", "auto")

# The printed face tags: the contract's 40.0 +- 0.05 mm. Office paper of 80 g/m2 is about 0.1 mm thick.
TAG = Reference("tag", "tag", (40.0, 40.0), (0.05 * EVENLY, 0.0), thickness_mm=0.1, thickness_std_mm=0.03)

# ISO/IEC 7810 ID-1: 85.60 x 53.98; unused cards between 85.47 and 85.72 by 53.92 and 54.03; 0.68 to 0.84 thick.
CARD = Reference(
    "card",
    "card",
    size_mm=(85.60, 53.98),
    size_std_mm=(0.125 * EVENLY, 0.055 * EVENLY),
    thickness_mm=0.76,
    thickness_std_mm=0.08 * EVENLY,
)

# ISO 216 allows 2 mm on these sides: taken as three standard deviations, since paper is cut better than it must be.
SHEET_STD_MM = (2.0 / 3.0, 2.0 / 3.0)
# Paper that lay in a workshop curls up at some corners (common practice: a millimetre or two).
CURL_MM = (0.8, 1.5)
SHEETS = {
    kind: Reference(kind, "sheet", size_mm, SHEET_STD_MM, 0.1, 0.05, *CURL_MM, lies="bench")
    # Letter: ANSI/ASME Y14.1, 8.5 x 11 in.
    for kind, size_mm in (("a4", (297.0, 210.0)), ("letter", (279.4, 215.9)))
}

# Diameter and thickness. Euro: Council Regulation (EU) 729/2014, Annex I (thickness of the cents from memory).
# Dollar: US Mint, Coin Specifications. Pound: Royal Mint. The one pound has twelve sides with rounded corners, 23.43
# point to point (published) and between 22.63, with sharp corners, and 23.03 across flats (from memory): about 23.14
# in the mean all round.
COINS = {
    coin.kind: coin
    for coin in (
        _coin("eur-2", 25.75, 2.20),
        _coin("eur-1", 23.25, 2.33),
        _coin("eur-0.5", 24.25, 2.38),
        _coin("eur-0.1", 19.75, 1.93),
        _coin("eur-0.05", 21.25, 1.67),
        _coin("eur-0.02", 18.75, 1.67),
        _coin("eur-0.01", 16.25, 1.67),
        _coin("usd-1", 26.49, 2.00),
        _coin("usd-0.5", 30.61, 2.15),
        _coin("usd-0.25", 24.26, 1.75),
        _coin("usd-0.1", 17.91, 1.35),
        _coin("usd-0.05", 21.21, 1.95),
        _coin("usd-0.01", 19.05, 1.52),
        _coin("gbp-2", 28.40, 2.50),
        _coin("gbp-1", 23.14, 2.80, std_mm=0.12),
        _coin("gbp-0.1", 24.50, 1.85),
    )
}

TAG_SIZE_MM = (10.0, 200.0)
BOLT_CIRCLE_MM = (50.0, 250.0)
LENGTH_MM = (5.0, 1000.0)
# Reading a tag's side or a marked length with a caliper or a steel rule.
TAG_READING_STD_MM = 0.06
LENGTH_STD_MM = 0.2
PITCH_STD_MM = 0.05
PRINT_SCALE_STD = 0.03

WANTED = (
    "auto, card, tag, tag:SIZE, tag:unmeasured, coin:eur-2 (or another coin), a4, letter, bolt-circle:MM, "
    "points:x1,y1,x2,y2,LENGTH"
)


def parse_kind(text: str) -> Reference:
    """Read a KIND of the contract.

    Parameters
    ----------
    text : str
        Such as ``"card"``, ``"tag:39.2"``, ``"coin:eur-0.50"`` or ``"points:10,20,900,25,150"``.

    Returns
    -------
    Reference

    Raises
    ------
    ValueError
        One line: what came and what is wanted.
    """
    name, colon, detail = text.strip().lower().partition(":")
    plain = {"auto": AUTO, "card": CARD, "tag": TAG} | SHEETS
    if not colon and name in plain:
        return plain[name]
    readers: dict[str, Callable[[str], Reference]] = {
        "tag": _read_tag,
        "coin": _read_coin,
        "bolt-circle": _read_bolt_circle,
        "points": _read_points,
    }
    if not colon or name not in readers:
        raise ValueError(f"reference {text!r} is not known; name one of {WANTED}")
    return readers[name](detail)


def _read_tag(detail: str) -> Reference:
    if detail == "unmeasured":
        std_mm = TAG.size_mm[0] * PRINT_SCALE_STD
        return replace(TAG, kind="tag:unmeasured", size_std_mm=(std_mm, 0.0), print_checked=False)
    side_mm = _length(detail, TAG_SIZE_MM, "the black square's side in mm, as in tag:39.2, or tag:unmeasured")
    return replace(TAG, kind=f"tag:{side_mm:g}", size_mm=(side_mm, side_mm), size_std_mm=(TAG_READING_STD_MM, 0.0))


def _read_coin(detail: str) -> Reference:
    currency, _, worth = detail.partition("-")
    try:
        kind = f"coin:{currency}-{float(worth):g}"
    except ValueError:
        kind = f"coin:{detail}"
    if kind not in COINS:
        known = ", ".join(COINS)
        raise ValueError(f"coin {detail!r} has no round shape of published size here; name one of {known}")
    return COINS[kind]


def _read_bolt_circle(detail: str) -> Reference:
    pitch_mm = _length(detail, BOLT_CIRCLE_MM, "the pitch circle's diameter in mm, as in bolt-circle:112")
    size, std = (pitch_mm, pitch_mm), (PITCH_STD_MM, 0.0)
    return Reference(f"bolt-circle:{pitch_mm:g}", "bolt-circle", size, std, lies="hat")


def _read_points(detail: str) -> Reference:
    wanted = "points needs five numbers, x1,y1,x2,y2,LENGTH (pixels, then mm)"
    fields = detail.split(",")
    try:
        x1, y1, x2, y2 = (float(field) for field in fields[:4])
    except ValueError as error:
        raise ValueError(f"{wanted}, got {detail!r}") from error
    if len(fields) != 5 or not all(map(math.isfinite, (x1, y1, x2, y2))):
        raise ValueError(f"{wanted}, got {detail!r}")
    if math.hypot(x2 - x1, y2 - y1) < 2.0:
        raise ValueError(f"points needs two marks at least 2 pixels apart, got {detail!r}")
    length_mm = _length(fields[4], LENGTH_MM, "the length between the two points in mm")
    size, std = (length_mm, 0.0), (LENGTH_STD_MM, 0.0)
    return Reference("points", "points", size, std, points_px=((x1, y1), (x2, y2)))


def _length(text: str, limits: tuple[float, float], wanted: str) -> float:
    try:
        length = float(text)
    except ValueError:
        length = math.nan
    if not limits[0] <= length <= limits[1]:
        raise ValueError(f"wanted {wanted}, between {limits[0]:g} and {limits[1]:g}, got {text!r}")
    return length
