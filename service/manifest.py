"""A batch's spreadsheet: its rows, and the rotors that they are photos of."""

import csv
import hashlib
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from service.options import LENGTHS, OptionError, Order, parse_order

OPTIONS = ("view", "reference", "lies", "hat", *LENGTHS)
CAR = ("axle", "line", "model", "year")
COLUMNS = ("photo", "rotor", *OPTIONS, *CAR)


class ManifestError(ValueError):
    """A spreadsheet that can't be used at all: one line."""


class RotorError(ValueError):
    """One rotor's rows can't be used: one line that names the row."""


@dataclass(frozen=True)
class Row:
    """One photo; ``number`` as a spreadsheet counts it, the header being row 1."""

    number: int
    photo: Path
    cells: dict[str, str]

    def order(self) -> Order:
        """Return what to do with the photo.

        Raises
        ------
        RotorError
            For an option that can't be followed.
        """
        try:
            return parse_order({name: self.cells.get(name) for name in OPTIONS})
        except OptionError as fault:
            raise RotorError(f"row {self.number}: {fault}") from None


@dataclass(frozen=True)
class Rotor:
    """One rotor and the rows of its photos."""

    name: str
    rows: tuple[Row, ...]

    def said(self, column: str) -> str | None:
        """Return what the rows say in a column that is the rotor's; None where they say nothing.

        Raises
        ------
        RotorError
            Where two rows differ.
        """
        found: dict[str, int] = {}
        for row in self.rows:
            if row.cells.get(column):
                found.setdefault(row.cells[column], row.number)
        if len(found) > 1:
            tellings = ", ".join(f"{value!r} in row {number}" for value, number in found.items())
            raise RotorError(f"{column} of rotor {self.name} differs: {tellings}; photos of one rotor share it")
        return next(iter(found), None)

    def fingerprint(self, catalogue: str) -> str:
        """Return what the rotor's result depends on, so that a result of something else is not taken for it.

        Parameters
        ----------
        catalogue : str
            The catalogue's own fingerprint.
        """
        digest = hashlib.sha256(catalogue.encode())
        for row in self.rows:
            digest.update(repr((row.number, sorted(row.cells.items()), _state(row.photo))).encode())
        return digest.hexdigest()[:24]


@dataclass(frozen=True)
class Manifest:
    """A whole spreadsheet; ``notices`` say what was passed over."""

    rotors: tuple[Rotor, ...]
    notices: tuple[str, ...]


def read_manifest(path: Path) -> Manifest:
    """Read a spreadsheet of photos; their paths are relative to its folder.

    Raises
    ------
    ManifestError
        For a file that can't be read, without a column ``photo``, or without rows.
    """
    reader = csv.DictReader(io.StringIO(_text(path)), strict=True)
    try:
        columns, cells = tuple(reader.fieldnames or ()), list(reader)
    except csv.Error as fault:
        raise ManifestError(f"{path}, line {reader.line_num}: not CSV ({fault}); save it as comma-separated") from None
    if "photo" not in columns:
        raise ManifestError(f"{path}: the header has no column photo; it may have {', '.join(COLUMNS)}")
    rows = list(_rows(path.parent, cells))
    if not rows:
        raise ManifestError(f"{path}: has a header and no rows; give each photo a row")
    strange = [column for column in columns if column not in COLUMNS]
    notices = (f"{path.name}: passed over the columns {', '.join(strange)}",) if strange else ()
    return Manifest(tuple(_grouped(rows)), notices)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ManifestError(f"{path}: no such file; check the path") from None
    except UnicodeDecodeError:
        raise ManifestError(f"{path}: not a text in UTF-8; save the spreadsheet as CSV in UTF-8") from None
    except OSError as fault:
        raise ManifestError(f"{path}: can't be read ({fault.strerror}); name a CSV file") from None


def _rows(folder: Path, cells: Iterable[dict[str | None, str | None]]) -> Iterable[Row]:
    for number, row in enumerate(cells, start=2):
        said = {name: (row.get(name) or "").strip() for name in COLUMNS}
        said = {name: text for name, text in said.items() if text}
        if said:
            yield Row(number, folder / said.get("photo", ""), said)


def _grouped(rows: list[Row]) -> Iterable[Rotor]:
    groups: dict[str, list[Row]] = {}
    for row in rows:
        named = row.cells.get("rotor")
        groups.setdefault(f"rotor {named}" if named else f"row {row.number}", []).append(row)
    for key, members in groups.items():
        name = members[0].cells.get("rotor") or members[0].cells.get("photo") or key
        yield Rotor(name, tuple(members))


def _state(photo: Path) -> tuple[int, int] | None:
    try:
        state = photo.stat()
    except OSError:
        return None
    return state.st_size, state.st_mtime_ns
