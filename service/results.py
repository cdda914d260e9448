"""A batch's results on disk: JSON lines that grow as rotors are done, and the spreadsheet made of them."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.measurement_text import NAMES

Record = Mapping[str, Any]
LIKELY = 0.01
SHEET_COLUMNS = ("rotor", "rows", "photos", "status", "verdict", "message", "fits", "probability", "none_of_these")


@dataclass(frozen=True)
class Journal:
    """Records in a file of JSON lines; a line that was cut off when the program was ended counts for nothing."""

    path: Path

    def load(self) -> dict[str, Record]:
        """Return the records by key."""
        if not self.path.exists():
            return {}
        records = (_record(line) for line in self.path.read_text(encoding="utf-8").splitlines())
        return {record["key"]: record for record in records if record is not None}

    def write(self, records: Iterable[Record]) -> None:
        """Hold ``records`` and nothing else, in their order."""
        part = self.path.with_name(self.path.name + ".part")
        part.write_text("".join(map(_line, records)), encoding="utf-8")
        part.replace(self.path)

    def add(self, record: Record) -> None:
        """Hold one record more."""
        with self.path.open("a", encoding="utf-8") as out:
            out.write(_line(record))


def fits(identification: Record | None) -> list[str]:
    """Return the cars that the rotor may belong to, as ``line model years``, the likeliest first.

    A rotor that fits nothing in the catalogue gets none, however the little that is left is spread.
    """
    if identification is None or identification.get("verdict") == "no-match":
        return []
    rows = identification.get("candidates") or ()
    cars = [f"{row['line']} {row['model']} {row['years']}" for row in rows if row["probability"] >= LIKELY]
    return list(dict.fromkeys(cars))


def best_length(record: Record, key: str) -> Mapping[str, float] | None:
    """Return the sharpest of the rotor's photos' measurements of one length, or None."""
    seen = [m["dimensions"][key] for m in record["measurements"] if key in (m.get("dimensions") or {})]
    return min(seen, key=lambda length: length["std"], default=None)


def spreadsheet(records: Sequence[Record]) -> bytes:
    """Return the records as CSV, a row a rotor, with a byte order mark so that spreadsheets read it as UTF-8."""
    out = io.StringIO(newline="")
    lengths = [f"{key.removesuffix('_mm')}_{end}" for key in NAMES for end in ("mm", "low_mm", "high_mm")]
    writer = csv.DictWriter(out, (*SHEET_COLUMNS[:4], *lengths, *SHEET_COLUMNS[4:], "problems"))
    writer.writeheader()
    writer.writerows(map(_cells, records))
    return out.getvalue().encode("utf-8-sig")


def _cells(record: Record) -> dict[str, Any]:
    identification = record["identification"] or {}
    candidates = identification.get("candidates") or [{}]
    cells = {
        "rotor": record["rotor"],
        "rows": " ".join(map(str, record["rows"])),
        "photos": "; ".join(record["photos"]),
        "status": " ".join(m["status"] for m in record["measurements"]) or "failed",
        "verdict": identification.get("verdict"),
        "message": identification.get("message"),
        "fits": "; ".join(fits(identification)),
        "probability": candidates[0].get("probability"),
        "none_of_these": identification.get("none_of_these"),
        "problems": "; ".join([*record["problems"], *refusals(record)]),
    }
    return {name: _inert(value) for name, value in (cells | _length_cells(record)).items()}


def _length_cells(record: Record) -> dict[str, float]:
    cells: dict[str, float] = {}
    for key in NAMES:
        length = best_length(record, key)
        if length is not None:
            stem = key.removesuffix("_mm")
            ends = {"mm": length["value"], "low_mm": length["low"], "high_mm": length["high"]}
            cells |= {f"{stem}_{end}": round(value, 2) for end, value in ends.items()}
    return cells


def refusals(record: Record) -> list[str]:
    """Return why photos of the rotor were refused, a line each."""
    return [f"{m['photo']}: {reason['message']}" for m in record["measurements"] for reason in m["reasons"]]


def _inert(value: Any) -> Any:
    # A cell that starts like this is run as a formula by spreadsheets, and names come from outside.
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t") else value


def _record(line: str) -> Record | None:
    try:
        record = json.loads(line)
    except ValueError:
        return None
    return record if isinstance(record, dict) and "key" in record else None


def _line(record: Record) -> str:
    return json.dumps(record, ensure_ascii=False) + "\n"
