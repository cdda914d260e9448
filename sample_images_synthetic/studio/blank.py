"""A scene before anything is laid out: rotor, wear, ground, light, phone."""

import math

import numpy as np

from sample_images_synthetic.studio.deliver import Delivery
from sample_images_synthetic.studio.develop import draw_development
from sample_images_synthetic.studio.ground import GROUNDS
from sample_images_synthetic.studio.iron import draw_finish
from sample_images_synthetic.studio.light import LIGHT_SHARES, LIGHTS
from sample_images_synthetic.studio.phone import draw_camera
from sample_images_synthetic.studio.rotor import Rotor
from sample_images_synthetic.studio.scene import UP_BENCH, Scene


def blank(rng: np.random.Generator, rotor: Rotor, *, hat_up: bool, plain: bool = False) -> Scene:
    """Draw a scene with everything but its reference and the way it looks.

    ``plain`` keeps to 3 megapixels and leaves out chalk marks.
    """
    return Scene(
        id="",
        set_name="",
        seed=0,
        group="face-on",
        rotor=rotor,
        hat_up=hat_up,
        spin_rad=float(rng.uniform(0, 2 * math.pi)),
        finish=draw_finish(rng, used=rotor.wear_mm > 0, chalk=not plain),
        reference_kind="none",
        reference_detail="",
        lies=None,
        placed=(),
        props=(),
        ground=str(rng.choice(list(GROUNDS))),
        light=str(rng.choice(list(LIGHTS), p=LIGHT_SHARES)),
        up=UP_BENCH,
        camera=draw_camera(rng, large=not plain),
        development=draw_development(rng),
        delivery=Delivery(90),
    )
