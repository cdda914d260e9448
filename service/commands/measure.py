"""``whichrotor measure``: one photo in, its lengths with their intervals out."""

import json
from argparse import ArgumentParser
from pathlib import Path

from service.commands.photo_arguments import add_photo_arguments, measure_file, order_of
from service.measurement_text import describe


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("photo", type=Path, metavar="PHOTO", help="JPEG, PNG, WebP or HEIC")
    add_photo_arguments(parser)
    parser.add_argument("--json", action="store_true", dest="as_json", help="print the whole measurement as JSON")
    parser.add_argument(
        "--overlay", type=Path, metavar="OUT.png", help="write the photo with what was found drawn on it"
    )


def run(photo: Path, as_json: bool, overlay: Path | None, **options: object) -> int:
    """Measure and print; 3 where the photo is refused."""
    measurement = measure_file(photo, order_of(options), overlay=overlay).measurement
    print(json.dumps(measurement, indent=1, ensure_ascii=False) if as_json else describe(measurement))
    return 3 if measurement["status"] == "refused" else 0
