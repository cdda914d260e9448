"""Copy finished photos and their truth into the folder that is committed: ``python -m … .publish SET [--only ID …]``.

The repository's history keeps 60 MB of pictures at most; the command refuses to publish more.
"""

import argparse
import json
import shutil
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
MOST_BYTES = 60_000_000
SETS = ("first", "fitting", "checking")


def main(arguments: list[str] | None = None) -> int:
    """Run the command; 0 when done, 2 when the pictures would be too large."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=SETS)
    parser.add_argument("--only", nargs="+", default=[], help="ids; default: all that are rendered")
    parser.add_argument("--leave-out", nargs="+", default=[], help="ids")
    args = parser.parse_args(arguments)
    source, target = HERE / "rendered" / args.set, HERE / args.set
    rows = json.loads((source / "truth.json").read_text())
    rows = [r for r in rows if (not args.only or r["id"] in args.only) and r["id"] not in args.leave_out]
    size = sum((source / r["file"]).stat().st_size for r in rows)
    size += sum(p.stat().st_size for s in SETS if s != args.set for p in (HERE / s).glob("*.jpg"))
    if size > MOST_BYTES:
        print(
            f"{size / 1e6:.1f} MB of pictures; leave some out, {MOST_BYTES / 1e6:.0f} MB is the most", file=sys.stderr
        )
        return 2
    target.mkdir(exist_ok=True)
    for row in rows:
        shutil.copyfile(source / row["file"], target / row["file"])
    write_truth(target, rows)
    print(f"{args.set}: {len(rows)} photos; {size / 1e6:.1f} MB of pictures in all sets")
    return 0


def write_truth(folder: Path, rows: list[object]) -> None:
    """Write ``truth.json``, a row a line."""
    text = ",\n".join(json.dumps(row) for row in rows)
    (folder / "truth.json").write_text(f"[\n{text}\n]\n")


if __name__ == "__main__":
    sys.exit(main())
