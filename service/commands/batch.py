"""``whichrotor batch``: a spreadsheet of photos in; results and labels out."""

import hashlib
import logging
import pickle
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from distributed import Client, LocalCluster

from catalogue import Catalogue, CatalogueError, load_catalogue
from service.batch import run_batch
from service.commands import CommandFault, catalogue_fault
from service.commands.photo_arguments import say, write_file
from service.labels import label_sheet
from service.manifest import Manifest, ManifestError, Rotor, read_manifest
from service.results import Journal, Record, spreadsheet

PATIENCE_S = 15


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("manifest", type=Path, metavar="MANIFEST.csv", help="a row a photo; the column photo is needed")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the results; made if needed")
    parser.add_argument("--catalogue", type=Path, metavar="DIR", help="folder of CSV files; the demo where not given")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="a Dask cluster's, such as tcp://host:8786")


def run(manifest: Path, out: Path, catalogue: Path | None, scheduler: str | None) -> int:
    """Measure, rank and write; rows that can't be used are named and passed over."""
    rotors, knowledge = _read(manifest), _load(catalogue)
    wanted = {rotor.fingerprint(_fingerprint(knowledge)): rotor for rotor in rotors.rotors}
    journal = _journal(out)
    records = {key: record for key, record in journal.load().items() if key in wanted}
    missing = {key: rotor for key, rotor in wanted.items() if key not in records}
    if records:
        say(f"{len(records)} of {len(wanted)} rotors were done before.")
    if missing:
        journal.write(records.values())
        records |= _run(missing, knowledge, scheduler, journal)
    _write(out, journal, [records[key] for key in wanted])
    return 0


def _run(missing: dict[str, Rotor], knowledge: Catalogue, scheduler: str | None, journal: Journal) -> dict[str, Record]:
    done: dict[str, Record] = {}
    with _client(scheduler) as client:
        for record in run_batch(missing, knowledge, client):
            journal.add(record)
            done[record["key"]] = record
            for problem in record["problems"]:
                say(problem)
            say(f"{record['rotor']}: {_outcome(record)} ({len(done)} of {len(missing)})")
    return done


def _write(out: Path, journal: Journal, records: list[Record]) -> None:
    journal.write(records)
    write_file(out / "results.csv", spreadsheet(records))
    write_file(out / "labels.pdf", label_sheet(records))
    bad = sum(bool(record["problems"]) for record in records)
    print(f"{len(records)} rotors, {bad} of them with rows that could not be used: {out}")


def _outcome(record: Record) -> str:
    return str(record["identification"]["verdict"]) if record["identification"] else "not ranked"


def _read(path: Path) -> Manifest:
    try:
        manifest = read_manifest(path)
    except ManifestError as fault:
        raise CommandFault(str(fault)) from None
    for notice in manifest.notices:
        say(notice)
    return manifest


def _load(folder: Path | None) -> Catalogue:
    try:
        return load_catalogue(folder)
    except CatalogueError as fault:
        raise catalogue_fault(folder, fault) from None


def _journal(out: Path) -> Journal:
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise CommandFault(f"{out}: can't be made ({fault.strerror}); name a folder that may be written") from None
    return Journal(out / "results.jsonl")


def _fingerprint(knowledge: Catalogue) -> str:
    return hashlib.sha256(pickle.dumps(knowledge)).hexdigest()


@contextmanager
def _client(scheduler: str | None) -> Iterator[Client]:
    if scheduler is None:
        with (
            LocalCluster(threads_per_worker=1, dashboard_address=None, silence_logs=logging.ERROR) as cluster,
            Client(cluster) as client,
        ):
            yield client
        return
    try:
        client = Client(scheduler, timeout=PATIENCE_S)
    except (OSError, ValueError) as fault:
        raise CommandFault(f"no Dask scheduler answers at {scheduler} ({fault}); check --scheduler") from None
    with client:
        yield client
