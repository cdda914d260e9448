"""Make the sample photos: ``python -m sample_images_synthetic.studio SET [--scene ID] [--only TEXT] …``.

A photo that is there with the hash that its truth tells is not made again.
"""

import argparse
import json
import os
import sys
from pathlib import Path

from sample_images_synthetic.studio.draw import PREFIXES, draw_scene
from sample_images_synthetic.studio.line import Order, gather, photos, sha256
from sample_images_synthetic.studio.scene import Scene

HERE = Path(__file__).resolve().parent.parent
COUNTS = {"first": 8, "fitting": 1620, "checking": 132}


def main(arguments: list[str] | None = None) -> int:
    """Run the command; 0 when every photo is there, 1 where a scene failed."""
    args = _parser().parse_args(arguments)
    out = args.out or HERE / "rendered" / args.set
    out.mkdir(parents=True, exist_ok=True)
    scenes = [draw_scene(args.set, n) for n in _numbers(args)]
    wanted = [s for s in scenes if args.only in f"{s.id} {s.group} {s.reference_kind}" and not _is_there(out, s)]
    made = photos(wanted, Order(out, args.samples, args.jobs, args.renderers, args.variant, args.most_kb * 1000))
    rows = list(made)
    for row in rows:
        done = row.result()
        print(done["id"], done["group"], done["reference"]["kind"], done["made"]["seconds"], flush=True)
    gather(out)
    return 0 if len(rows) == len(wanted) else 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m sample_images_synthetic.studio", description=__doc__)
    parser.add_argument("set", choices=sorted(PREFIXES))
    parser.add_argument("--scene", action="append", help="only this id, c017 for instance; may be repeated")
    parser.add_argument("--first", type=int, default=1, help="number of the first scene")
    parser.add_argument("--last", type=int, help="number of the last scene")
    parser.add_argument("--only", default="", help="only scenes whose id, group or reference holds this text")
    parser.add_argument("--samples", type=int, default=128, help="samples a pixel")
    parser.add_argument("--variant", default="cuda_ad_rgb", help="Mitsuba's backend")
    parser.add_argument("--jobs", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--renderers", type=int, default=1, help="processes that render at once")
    parser.add_argument("--most-kb", type=int, default=600, help="larger files are written again at quality 78")
    parser.add_argument("--out", type=Path, help="folder; default: rendered/SET beside the studio")
    return parser


def _numbers(args: argparse.Namespace) -> list[int]:
    if args.scene:
        return [int(name.removeprefix(PREFIXES[args.set])) for name in args.scene]
    return list(range(args.first, (args.last or COUNTS[args.set]) + 1))


def _is_there(out: Path, scene: Scene) -> bool:
    """Whether the photo is there as its own row tells."""
    photo, row = out / f"{scene.id}.jpg", out / f"{scene.id}.json"
    if not (photo.is_file() and row.is_file()):
        return False
    return bool(sha256(photo.read_bytes()) == json.loads(row.read_text())["made"]["sha256"])


if __name__ == "__main__":
    sys.exit(main())
