"""The last fit with every lens that a photo may have: which is likeliest, and how doubtful that leaves its lengths."""

from dataclasses import replace

import numpy as np

from vision.assemble import Sights, Start, fit
from vision.lens import Lens, lenses, usual_focal_px
from vision.photo import Photo
from vision.request import Request
from vision.scene import Scene

# Misfits of samples that hang together tell the same thing more than once. Of 132 photos without a focal length the
# one with the lesser misfit is right but in five, where they differ by less than 4.
SAME_TELLING = 2.0


def of_likelier_lens(photo: Photo, request: Request, sights: Sights, start: Start, scene: Scene) -> Scene:
    """Fit with each lens that a photo may have, and return the likeliest scene, as doubtful as the others are likely.

    Parameters
    ----------
    photo, request, sights, start
        As for `fit`.
    scene : Scene
        As it was fitted with the start's own lens.
    """
    tried = lenses(photo)
    fits = [scene if lens == start.lens else _with(lens, photo, request, sights, start, scene) for lens in tried]
    odds = np.array([np.log(lens.share) - each.misfit / SAME_TELLING for lens, each in zip(tried, fits, strict=True)])
    best = int(odds.argmax())
    size, std = np.array([(each.values["log_rim"], each.std("log_rim")) for each in fits]).T
    spread = std**2 + (size - size[best]) ** 2
    doubt = np.average(spread, weights=np.exp(odds - odds[best])) / spread[best]
    return replace(fits[best], covariance=fits[best].covariance * max(1.0, float(doubt)))


def _with(lens: Lens, photo: Photo, request: Request, sights: Sights, start: Start, scene: Scene) -> Scene:
    """Fit with another lens, from farther off if it is longer."""
    longer = float(np.log(usual_focal_px(photo, lens.f35_mm))) - scene.values["log_focal"]
    moved = {name: scene.values[name] + longer for name in ("log_focal", "log_far")}
    near = replace(scene, values={**scene.values, **moved})
    return fit(photo, request, sights, replace(start, lens=lens), near)
