"""What the person says about a photo: the view, the reference and where it lies, what was measured by hand."""

from dataclasses import dataclass
from typing import Literal

from vision.measurement import FloatArray


@dataclass(frozen=True)
class Request:
    """One photo's questions, as the command line and the web put them; ``None`` means not said.

    Attributes
    ----------
    reference : str
        A KIND of the contract, such as ``"card"``, ``"tag:39.2"`` or ``"auto"``.
    lies : {"face", "bench", "hat"}, optional
        Where the reference lies.
    hat : {"up", "down", "auto"}
    lift_mm, thickness_mm, height_mm, diameter_mm : float, optional
        Millimetres; what lies under the reference, and what was measured by hand.
    rim_xy_px : (N, 2) ndarray, optional
        Points on the rim moved by a person, ``(x, y)`` in pixels of the photo as displayed.
    reference_xy_px : (N, 2) ndarray, optional
        The reference's corners (card, sheet, tag) or points on its edge (coin), moved by a person.
    """

    reference: str = "auto"
    lies: Literal["face", "bench", "hat"] | None = None
    hat: Literal["up", "down", "auto"] = "auto"
    lift_mm: float = 0.0
    thickness_mm: float | None = None
    height_mm: float | None = None
    diameter_mm: float | None = None
    rim_xy_px: FloatArray | None = None
    reference_xy_px: FloatArray | None = None

    @property
    def hat_up(self) -> bool | None:
        """Whether the hat stands toward the camera; None where nobody said."""
        return None if self.hat == "auto" else self.hat == "up"
