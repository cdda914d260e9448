"""Cases are kept when asked, photos when allowed, and never where a photo was taken."""

import io
import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from PIL import ExifTags, Image, ImageOps
from starlette.testclient import TestClient

import service.drafts  # noqa: F401 - a table of its own in the same metadata
from service.app import create_app
from service.cases import Base, Cases
from service.settings import Settings
from service.stored_photo import without_location
from tests.service.conftest import LOCAL

EVIDENCE = {"axles": {"front": {"diameter_mm": 330}}}
POSTGRESQL = "WHICHROTOR_TEST_POSTGRESQL_URL"
PLACE = "Somewhere nobody should know"


@pytest.fixture
def own_client(tmp_path: Path) -> Iterator[TestClient]:
    with TestClient(create_app(Settings(data=tmp_path, workers=1)), base_url=LOCAL) as client:
        yield client


@pytest.fixture(params=["sqlite", "postgresql"])
def cases(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Cases]:
    url = f"sqlite:///{tmp_path / 'sub' / 'cases.sqlite'}"
    if request.param == "postgresql":
        url = os.environ.get(POSTGRESQL, "")
        if not url:
            pytest.skip(f"needs an empty PostgreSQL database of its own, named in {POSTGRESQL}")
    cases = Cases(url)
    yield cases
    for head in cases.listed():
        cases.delete(head["id"])
    cases.close()


def photo_with_location(form: str = "JPEG", orientation: int = 6) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.ImageDescription] = PLACE
    exif[ExifTags.Base.DateTime] = "2024:05:06 07:08:09"
    exif.get_ifd(ExifTags.IFD.Exif).update(
        {ExifTags.Base.FocalLengthIn35mmFilm: 26, ExifTags.Base.MakerNote: PLACE.encode()}
    )
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(
        {ExifTags.GPS.GPSLatitudeRef: "N", ExifTags.GPS.GPSLatitude: (51.0, 28.0, 38.0)}
    )
    out = io.BytesIO()
    pixels = np.random.default_rng(3).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    more = {"JPEG": {"xmp": PLACE.encode(), "comment": PLACE.encode()}, "WEBP": {"xmp": PLACE.encode()}}
    pillow_heif.register_heif_opener()
    Image.fromarray(pixels).save(out, form, exif=exif, **more.get(form, {}))
    return out.getvalue()


def test_an_identification_makes_no_case_unless_asked(own_client: TestClient) -> None:
    answer = own_client.post("/api/identifications", json=EVIDENCE)
    assert answer.status_code == 200
    assert "case" not in answer.json()
    assert own_client.get("/api/cases").json() == {"cases": []}


def test_a_kept_case_is_listed_shown_and_can_be_deleted(own_client: TestClient) -> None:
    answer = own_client.post("/api/identifications?keep=true", json=EVIDENCE)
    case_id = answer.json()["case"]
    assert answer.headers["location"] == f"/api/cases/{case_id}"
    (head,) = own_client.get("/api/cases").json()["cases"]
    assert head["id"] == case_id
    case = own_client.get(f"/api/cases/{case_id}").json()
    assert case["evidence"] == EVIDENCE
    assert case["identification"]["verdict"] == answer.json()["verdict"]
    assert own_client.delete(f"/api/cases/{case_id}").status_code == 204
    assert own_client.get(f"/api/cases/{case_id}").status_code == 404


def test_a_photo_is_kept_only_with_consent(own_client: TestClient) -> None:
    case_id = own_client.post("/api/identifications?keep=true", json=EVIDENCE).json()["case"]
    files = {"photo": ("IMG_1.jpg", photo_with_location(), "image/jpeg")}
    for data in ({}, {"consent": "false"}, {"consent": ""}):
        answer = own_client.post(f"/api/cases/{case_id}/photos", files=files, data=data)
        assert answer.status_code == 422
        assert "consent" in answer.json()["detail"]
    assert own_client.get(f"/api/cases/{case_id}").json()["photos"] == []
    answer = own_client.post(f"/api/cases/{case_id}/photos", files=files, data={"consent": "true"})
    assert answer.status_code == 201
    kept = own_client.get(f"/api/cases/{case_id}/photos/{answer.json()['id']}")
    assert kept.headers["content-type"] == "image/jpeg"
    assert PLACE.encode() not in kept.content


def test_what_is_no_picture_is_not_kept(own_client: TestClient) -> None:
    case_id = own_client.post("/api/identifications?keep=true", json=EVIDENCE).json()["case"]
    files = {"photo": ("IMG_1.jpg", b"words", "image/jpeg")}
    answer = own_client.post(f"/api/cases/{case_id}/photos", files=files, data={"consent": "true"})
    assert answer.status_code == 415
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_photo_of_no_case_is_not_found(own_client: TestClient) -> None:
    files = {"photo": ("IMG_1.jpg", photo_with_location(), "image/jpeg")}
    answer = own_client.post("/api/cases/none/photos", files=files, data={"consent": "true"})
    assert answer.status_code == 404


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_stored_photo_keeps_its_focal_length_and_no_place_or_time(form: str) -> None:
    photo = photo_with_location(form, orientation=1)
    stored = without_location(photo, "folder/IMG_1.jpg")
    assert PLACE.encode() in photo
    assert (stored.name, stored.media_type) == ("IMG_1.jpg", "image/jpeg")
    assert PLACE.encode() not in stored.content
    with Image.open(io.BytesIO(stored.content)) as image:
        assert (image.format, image.size) == ("JPEG", (80, 60))
        exif = image.getexif()
        assert exif.get_ifd(ExifTags.IFD.Exif) == {ExifTags.Base.FocalLengthIn35mmFilm: 26}
        assert exif.get_ifd(ExifTags.IFD.GPSInfo) == {}
        assert ExifTags.Base.DateTime not in exif
        assert {"xmp", "comment"} & image.info.keys() == set()


@pytest.mark.parametrize("form", ["JPEG", "WEBP", "HEIF"])
def test_a_stored_photo_stands_as_it_stood(form: str) -> None:
    photo = photo_with_location(form, orientation=6)
    with Image.open(io.BytesIO(photo)) as before, ImageOps.exif_transpose(before) as upright:
        wanted = np.asarray(upright.convert("L"), np.float64)
    with Image.open(io.BytesIO(without_location(photo, "a").content)) as after:
        kept = np.asarray(ImageOps.exif_transpose(after).convert("L"), np.float64)
    assert kept.shape == wanted.shape
    assert np.corrcoef(kept.ravel(), wanted.ravel())[0, 1] > 0.95


def test_cases_outlive_the_program(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'cases.sqlite'}"
    first = Cases(url)
    case_id = first.keep(EVIDENCE, {"verdict": "check", "message": "…"})
    first.close()
    second = Cases(url)
    assert second.case(case_id) is not None
    second.close()


def test_the_newest_case_comes_first_and_pages_follow_on(cases: Cases) -> None:
    ids = [cases.keep(EVIDENCE, {"verdict": "check", "message": str(n)}) for n in range(5)]
    listed = [head["id"] for head in cases.listed(limit=3)] + [head["id"] for head in cases.listed(3, offset=3)]
    assert listed == ids[::-1]


def test_deleting_a_case_deletes_its_photos(cases: Cases) -> None:
    case_id = cases.keep(EVIDENCE, {})
    photo_id = cases.add_photo(case_id, without_location(photo_with_location(), "a.jpg"))
    assert cases.photo(case_id, photo_id) is not None
    assert cases.photo("other", photo_id) is None
    assert cases.delete(case_id)
    assert cases.photo(case_id, photo_id) is None


def test_the_migrations_make_just_the_tables_that_the_code_uses(cases: Cases) -> None:
    with cases.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
