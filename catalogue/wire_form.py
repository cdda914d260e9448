"""The wire form of an identification, key by key as the contract has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from catalogue.candidate import Candidate
from catalogue.verdict import Option, PartVerdict
from catalogue.wear import WearReport

if TYPE_CHECKING:
    from catalogue.identification import Identification


def identification_json(found: Identification) -> dict[str, Any]:
    """Return the document."""
    return {
        "verdict": found.verdict,
        "message": found.message,
        "candidates": [_candidate(each) for each in found.candidates],
        "others": asdict(found.others),
        "none_of_these": found.none_of_these,
        "parts": _parts(found.parts),
        "cannot_tell_apart": [_listed(asdict(each)) for each in found.cannot_tell_apart],
        "next_checks": [asdict(each) | {"gain_bits": round(each.gain_bits, 4)} for each in found.next_checks],
        "conflicts": [{"between": list(each.between), "text": each.text} for each in found.conflicts],
        **_wear(found.wear),
        "order": found.order.to_json(),
        "cautions": found.cautions,
        "ignored": [asdict(each) for each in found.ignored],
        "chart": [_listed(asdict(each)) for each in found.charts],
    }


def _candidate(each: Candidate) -> dict[str, Any]:
    return {
        "line": each.line,
        "model": each.model,
        "years": each.years,
        "package": each.package,
        "package_name": each.package_name,
        "axle": each.axle,
        "probability": each.probability,
        "why": [
            {"evidence": why.evidence, "axle": why.axle, "bits": round(why.bits, 3) + 0.0, "text": why.text}
            for why in each.why
        ],
    }


def _parts(verdicts: Sequence[PartVerdict]) -> dict[str, dict[str, Any]]:
    parts: dict[str, dict[str, Any]] = {}
    for each in verdicts:
        of_axle = parts.setdefault(each.axle, {})
        of_axle[each.part] = {"verdict": each.verdict, "options": [_option(option) for option in each.options]}
    return parts


def _option(option: Option) -> dict[str, Any]:
    answer = {"part": option.part, "probability": option.probability}
    return answer if option.right is None else {**answer, "right": option.right}


def _wear(reports: Sequence[WearReport]) -> dict[str, Any]:
    """Return the wear of the first axle under the contract's key; of both axles too where there are two."""
    if not reports:
        return {}
    more = {"wear_by_axle": [report.to_json() for report in reports]} if len(reports) > 1 else {}
    return {"wear": reports[0].to_json(), **more}


def _listed(record: dict[str, Any]) -> dict[str, Any]:
    """Return a record with its tuples as lists, as JSON will have them."""
    return {key: list(value) if isinstance(value, tuple) else value for key, value in record.items()}
