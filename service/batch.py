"""Many photos: measured by Dask, ranked rotor by rotor, one record each; a bad row spoils only itself."""

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from distributed import Client, Future

from catalogue import Catalogue, EvidenceError
from service.identifying import identify_wire
from service.manifest import CAR, Rotor, RotorError, Row
from service.measuring import PhotoFault, measure
from service.options import LENGTHS, Order
from service.translate import add_measurement

Record = dict[str, Any]
WAITING_PER_WORKER = 4


@dataclass
class _Job:
    """One rotor under way: its photos' futures by row, and what went wrong so far."""

    key: str
    rotor: Rotor
    futures: dict[int, "Future[Record | PhotoFault]"] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def run_batch(rotors: Mapping[str, Rotor], catalogue: Catalogue, client: Client) -> Iterator[Record]:
    """Measure and rank ``rotors``, and yield a record for each, in their order.

    Parameters
    ----------
    rotors : mapping of str to Rotor
        By key.
    catalogue : Catalogue
    client : distributed.Client
        Photos travel to its workers whole, so they need share no folder; only a few are under way at a time.

    Yields
    ------
    dict
        ``key``, ``rotor``, ``rows``, ``photos``, ``measurements``, ``identification`` (None where nothing could be
        ranked) and ``problems``, a line each.
    """
    room = WAITING_PER_WORKER * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
    running: deque[_Job] = deque()
    for key, rotor in rotors.items():
        running.append(_begin(_Job(key, rotor), client))
        while sum(len(job.futures) for job in running) >= room:
            yield _finish(running.popleft(), catalogue)
    while running:
        yield _finish(running.popleft(), catalogue)


def _begin(job: _Job, client: Client) -> _Job:
    for row in job.rotor.rows:
        try:
            content, order = _content(row), row.order()
        except RotorError as fault:
            job.problems.append(str(fault))
            continue
        job.futures[row.number] = client.submit(_measure, content, row.photo.name, order, pure=False)
    return job


def _measure(content: bytes, name: str, order: Order) -> Record | PhotoFault:
    try:
        return measure(content, name, order).measurement
    except PhotoFault as fault:
        return fault  # an answer like any other; raised, Dask would log it as a failure of its own


def _finish(job: _Job, catalogue: Catalogue) -> Record:
    measurements = list(_measured(job))
    return {
        "key": job.key,
        "rotor": job.rotor.name,
        "rows": [row.number for row in job.rotor.rows],
        "photos": [row.photo.name for row in job.rotor.rows],
        "measurements": measurements,
        "identification": _ranked(job, measurements, catalogue) if measurements else None,
        "problems": job.problems,
    }


def _measured(job: _Job) -> Iterator[Record]:
    for number, future in job.futures.items():
        try:
            measured = future.result()
        except Exception as fault:
            job.problems.append(f"row {number}: a fault of the program, please report it: {fault!r}")
            continue
        if isinstance(measured, PhotoFault):
            job.problems.append(f"row {number}: {measured}")
        else:
            yield measured


def _ranked(job: _Job, measurements: list[Record], catalogue: Catalogue) -> Record | None:
    try:
        evidence = _evidence(job.rotor, measurements)
        return identify_wire(catalogue, evidence)
    except (RotorError, EvidenceError) as fault:
        job.problems.append(str(fault))
        return None


def _evidence(rotor: Rotor, measurements: list[Record]) -> Record:
    car = {name: rotor.said(name) for name in CAR}
    axle = car.pop("axle") or "unknown"
    lengths = {name: rotor.said(name) for name in LENGTHS if name != "lift_mm"}
    evidence: Record = {
        "vehicle": {name: _year(text) if name == "year" else text for name, text in car.items() if text},
        "axles": {axle: {name: float(text) for name, text in lengths.items() if text}},
    }
    for measurement in measurements:
        evidence = add_measurement(evidence, axle, measurement)
    return evidence


def _year(text: str) -> int:
    if not text.isdigit():
        raise RotorError(f"year must be a whole number such as 2021, not {text!r}")
    return int(text)


def _content(row: Row) -> bytes:
    if "photo" not in row.cells:
        raise RotorError(f"row {row.number}: names no photo")
    try:
        return row.photo.read_bytes()
    except FileNotFoundError:
        raise RotorError(f"row {row.number}: {row.cells['photo']}: no such file; check the path") from None
    except OSError as fault:
        raise RotorError(f"row {row.number}: {row.cells['photo']}: can't be read ({fault.strerror})") from None
