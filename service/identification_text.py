"""An identification as lines that a person reads."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from catalogue import plain_name
from service.measurement_text import NAMES, interval

Wire = Mapping[str, Any]
SHOWN_CANDIDATES = 8
SHOWN_CHECKS = 3
SHOWN_WAYS = 4
PHOTO_LENGTHS = ("diameter_mm", "thickness_mm")
VERDICTS = {
    "ready": "READY",
    "check": "CHECK FIRST",
    "decode": "LOOK IT UP",
    "no-match": "NO MATCH",
}


def describe(identification: Wire) -> str:
    """Return the identification's lines, the verdict first."""
    parts = (_verdict, _photos, _parts, _ranking, _open, _checks, _conflicts, _wear, _order, _ignored, _cautions)
    blocks = ["\n".join(part(identification)) for part in parts]
    return "\n\n".join(block for block in blocks if block)


def _verdict(identification: Wire) -> Iterator[str]:
    yield f"{VERDICTS[identification['verdict']]}: {identification['message']}"


def _photos(identification: Wire) -> Iterator[str]:
    for photo in identification.get("photos") or ():
        if photo["status"] == "refused":
            why = " ".join(reason["message"] for reason in photo["reasons"])
            yield f"Photo {photo['photo']} was refused ({why}); only what it did show is counted."
        lengths = photo.get("dimensions") or {}
        read = [f"{NAMES[key]} {interval(lengths[key])}" for key in PHOTO_LENGTHS if key in lengths]
        if read:
            yield f"Photo {photo['photo']}: {', '.join(read)}"


def _parts(identification: Wire) -> Iterator[str]:
    rows = [
        (axle, part, said)
        for axle, parts in (identification.get("parts") or {}).items()
        for part, said in parts.items()
    ]
    if rows:
        yield "Parts"
    for axle, part, said in rows:
        options = ", ".join(f"{option['part']} {_percent(option['probability'])}" for option in said["options"][:4])
        may = "may be ordered" if said["verdict"] == "ready" else VERDICTS[said["verdict"]].lower()
        yield f"  {_of_axle(axle) + part:<11} {may:<15} {options}"


def _ranking(identification: Wire) -> Iterator[str]:
    candidates = identification.get("candidates") or ()
    yield "Ranking"
    for row in candidates[:SHOWN_CANDIDATES]:
        car = f"{row['line']} {row['model']} {row['years']}"
        yield f"  {_percent(row['probability']):>7}  {row['package_name'] or row['package']} ({row['axle']}), {car}"
    rest = candidates[SHOWN_CANDIDATES:]
    others = identification.get("others") or {"count": 0, "probability": 0.0}
    count = len(rest) + others["count"]
    if count:
        probability = sum(row["probability"] for row in rest) + others["probability"]
        yield f"  {_percent(probability):>7}  {count} other{'s' if count > 1 else ''}"
    yield f"  {_percent(identification['none_of_these']):>7}  none of these"


def _open(identification: Wire) -> Iterator[str]:
    groups = without_repetition(identification.get("cannot_tell_apart") or ())
    if groups:
        yield "Can't be told apart"
    for group in groups:
        settle = _some([_way(group, name) for name in group["resolved_by"]]) or "nothing known here"
        packages = _listed(group["packages"], "and")
        yield f"  {_of_axle(group['axle'], ': ')}{packages} by {_reading(group)}; settled by {settle}"
        if group.get("same_parts"):
            yield f"    the same for all of them: {_listed(group['same_parts'], 'and')}"


def without_repetition(groups: Sequence[Wire]) -> Sequence[Wire]:
    """Leave out what these readings can't tell apart where no reading can."""
    by_any = [(group["axle"], set(group["packages"])) for group in groups if group["by"] == "any reading"]
    return [
        each for each in groups if each["by"] == "any reading" or (each["axle"], set(each["packages"])) not in by_any
    ]


def _reading(group: Wire) -> str:
    here = group["by"] == "any reading" and group["axle"] in ("front", "rear")
    return f"{group['by']} of the {group['axle']} axle" if here else str(group["by"])


def _way(group: Wire, name: str) -> str:
    """Return a way to settle a group, with its axle where that is not the group's own."""
    other = {"front": "rear ", "rear": "front "}.get(group["axle"], "other axle's ")
    return f"{other if name in group['by_other_axle'] else ''}{plain_name(name)}"


def _checks(identification: Wire) -> Iterator[str]:
    checks = identification.get("next_checks") or ()
    if checks:
        yield "Check next"
    for check in checks[:SHOWN_CHECKS]:
        worth = f"{check['gain_bits']:.2f} bits, {check['minutes']:g} min"
        yield f"  {_of_axle(check['axle'])}{plain_name(check['check'])} ({worth}): {check['how']}"


def _conflicts(identification: Wire) -> Iterator[str]:
    for conflict in identification.get("conflicts") or ():
        if conflict["text"] not in identification["message"]:
            yield f"CONFLICT: {conflict['text']}"


def _wear(identification: Wire) -> Iterator[str]:
    wear = identification.get("wear") or {}
    if wear.get("text"):
        yield f"Wear: {wear['text']}"


def _order(identification: Wire) -> Iterator[str]:
    for axle in (identification.get("order") or {}).get("axles") or ():
        yield f"Order for the {axle['axle']} axle"
        for line in axle["lines"]:
            count = line.get("quantity") or "?"
            yield f"  {count} x {line['part']:<16} {line['what']}{_note(line)}"
        for other in axle.get("alternatives") or ():
            yield f"  or  {other['part']:<16} instead of {other['replaces']}{_note(other)}"
        for still in axle.get("open") or ():
            yield f"  open: {still}"
        for care in axle.get("care") or ():
            yield f"  - {care['text']}"


def _note(line: Wire) -> str:
    said = [line["note"]] if line.get("note") else []
    if line.get("only_with"):
        said.append(f"only with {_listed(line['only_with'], 'or')}")
    return f" ({'; '.join(said)})" if said else ""


def _ignored(identification: Wire) -> Iterator[str]:
    for ignored in identification.get("ignored") or ():
        yield f"Not weighed: {plain_name(ignored['evidence'])}: {ignored['why']}"


def _cautions(identification: Wire) -> Iterator[str]:
    cautions = identification.get("cautions") or ()
    if cautions:
        yield "Take care"
    for caution in cautions:
        yield f"  - {caution}"


def _percent(probability: float) -> str:
    if 0.0 < probability < 0.001:
        return "<0.1 %"
    # 99.97 % must not read as certainty.
    return ">99.9 %" if 0.999 < probability < 1.0 else f"{100.0 * probability:.1f} %"


def _listed(words: Sequence[str], last: str) -> str:
    return f" {last} ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def _some(words: Sequence[str]) -> str:
    more = len(words) - SHOWN_WAYS
    return _listed([*words[:SHOWN_WAYS], f"{more} other readings"] if more > 1 else words, "or")


def _of_axle(axle: str, after: str = " ") -> str:
    """Return the axle before what is said of it; nothing where nobody knows which it is."""
    return "" if axle == "unknown" else f"{axle}{after}"
