"""What else is on the bench: clutter round the rotor, a label on it, a second rotor under it."""

import math

import numpy as np

from sample_images_synthetic.studio.placement import half_size_mm, turned
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from sample_images_synthetic.studio.scene import Prop, Scene

THINGS: dict[str, float] = {
    "spanner": 150.0,
    "screwdriver": 150.0,
    "hammer": 190.0,
    "wheel_nuts": 90.0,
    "cable": 200.0,
    "hand": 130.0,
    "rag": 170.0,
    "tyre": 350.0,
    "lid": 120.0,
    "plate": 150.0,
    "pulley": 110.0,
    "bicycle_disc": 115.0,
    "cup": 70.0,
    "tape_roll": 80.0,
    "rotor": 200.0,
}
"""What may lie about, and its reach, mm."""


def strewn(rng: np.random.Generator, scene: Scene) -> tuple[Prop, ...]:
    """Clutter on the bench: none on half of the benches, else up to four things that touch nothing."""
    if scene.rotor is None or rng.random() < 0.45:
        return ()
    taken = [(np.zeros(2), scene.rotor.diameter_mm / 2 if scene.lower is None else scene.lower.diameter_mm / 2)]
    taken += [(p.offset_mm[:2], 0.5 * math.hypot(*(2 * h for h in half_size_mm(p.reference)))) for p in scene.placed]
    props = []
    for name in rng.choice(list(THINGS), int(rng.integers(1, 5)), replace=False):
        a, reach = float(rng.uniform(0, 2 * math.pi)), THINGS[str(name)]
        radius = taken[0][1] + reach + float(rng.uniform(5, 160))
        where = radius * np.array([math.cos(a), math.sin(a)])
        if all(np.linalg.norm(where - at) > reach + size for at, size in taken):
            taken.append((where, reach))
            spot = np.append(where, scene.ground_z_mm)
            props.append(Prop(str(name), int(rng.integers(2**31)), turned(float(rng.uniform(0, 2 * math.pi))), spot))
    return tuple(props)


def stacked_under(rng: np.random.Generator, rotor: Rotor) -> Rotor | None:
    """Draw a second rotor that this one lies on, its hat inside this one's; None where none of twenty fits."""
    for _ in range(20):
        lower = draw_rotor(rng)
        room = rotor.hat_mm - 22 > lower.hat_mm and lower.hat_z_mm < rotor.hat_z_mm + rotor.thickness_mm - 14
        if room and abs(lower.diameter_mm - rotor.diameter_mm) > 4 and not lower.joint and not rotor.joint:
            return lower
    return None


def labels(rng: np.random.Generator, scene: Scene) -> tuple[Prop, ...]:
    """Stick a paper label on some rotors' hats (hat up, nothing else on it), off the bore."""
    rotor = scene.rotor
    on_the_hat = any(p.offset_mm[2] > 1 for p in scene.placed)
    if rotor is None or not scene.hat_up or on_the_hat or rng.random() > 0.1:
        return ()
    a = float(rng.uniform(0, 2 * math.pi))
    radius = rotor.centre_bore_mm / 2 + 22.0
    where = np.array([radius * math.cos(a), radius * math.sin(a), rotor.hat_z_mm])
    return (Prop("label", int(rng.integers(2**31)), turned(a + math.pi / 2), where),)
