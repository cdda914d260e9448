"""What follows once parts are settled: the order sheet, and the wear of the rotor in hand."""

from collections.abc import Sequence

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.field import Field
from catalogue.observation import AxleEvidence, Evidence, EvidenceAxle
from catalogue.order import OrderSheet, SettledAxle, order_sheet
from catalogue.posterior import Posterior
from catalogue.rotor_lengths import std_of
from catalogue.schema import AXLES
from catalogue.verdict import PartVerdict, options_of
from catalogue.wear import WearLimits, WearReport, wear_report

STILL_POSSIBLE = 1e-3
"""Packages of less than this share bring nothing along to the order sheet."""


def order_of(belief: Posterior, field: Field, verdicts: Sequence[PartVerdict]) -> OrderSheet:
    """Return the order sheet of the parts that are ready."""
    ready = [each for each in verdicts if each.verdict == "ready"]
    axles = dict.fromkeys(each.axle for each in ready)
    settled = [_settled_axle(belief, field, axle, [each for each in ready if each.axle == axle]) for axle in axles]
    return order_sheet(belief.prepared.catalogue, settled)


def _settled_axle(belief: Posterior, field: Field, axle: EvidenceAxle, ready: Sequence[PartVerdict]) -> SettledAxle:
    side = _side(belief, field, axle)
    ranked = np.argsort(-field.mass, kind="stable")
    keys = belief.prepared.catalogue.packages.keys
    packages = dict.fromkeys(
        keys[field.package[place]] for place in ranked.tolist() if field.mass[place] >= STILL_POSSIBLE
    )
    parts = {each.part: each.options[0].part for each in ready}
    return SettledAxle(side, tuple(packages), parts.get("rotor"), parts.get("pads"))


def _side(belief: Posterior, field: Field, axle: EvidenceAxle) -> str:
    """Return which axle evidence on an unknown one is of, as the likeliest package has it."""
    if axle != "unknown":
        return axle
    best = belief.hypotheses[int(field.reading[int(np.argmax(field.mass))])]
    return best.axle if best.axle in AXLES else AXLES[0]


def wear_of(belief: Posterior, evidence: Evidence, assumptions: Assumptions) -> tuple[WearReport, ...]:
    """Return the wear of each axle whose swept thickness was read and whose rotor is settled."""
    reports = []
    for axle, observed in evidence.axles.items():
        if not observed.thickness_mm or observed.thickness_over == "lip":
            continue
        options = options_of(belief, axle, "rotor")
        if options and options[0].probability >= assumptions.ready_from:
            limits = _limits(belief, options[0].part, observed)
            stds = [std_of(reading, "thickness_mm", assumptions) for reading in observed.thickness_mm]
            readings = [reading.value for reading in observed.thickness_mm]
            reports.append(wear_report(limits, readings, axle=axle, reading_std_mm=max(stds)))
    return tuple(reports)


def _limits(belief: Posterior, part: str, observed: AxleEvidence) -> WearLimits:
    """Return the limits; the figure stamped on the part prevails over the catalogue's."""
    rotors = belief.prepared.catalogue.rotors
    rotor = rotors.row(rotors.index[part])
    stamped = observed.min_mark_mm
    if stamped is not None and stamped >= rotor.thickness_mm:
        stamped = None
    machine_to = observed.mark_kind == "machine-to"
    return WearLimits(
        new_mm=rotor.thickness_mm,
        discard_mm=stamped if stamped is not None and not machine_to else rotor.min_thickness_mm,
        machine_to_mm=stamped if stamped is not None and machine_to else rotor.machine_to_mm,
        surface=_surface(observed) or rotor.surface,
        material=rotor.material,
    )


def _surface(observed: AxleEvidence) -> str | None:
    """Return the surface told of the rotor in hand, which may be a replacement of another one."""
    return observed.words.get("surface")
