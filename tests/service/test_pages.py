"""The pages over HTTP, without a browser: cases only when asked, photos only with consent, no way to another site."""

import io
import re
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from service.app import create_app
from service.guide import guide_sheet
from service.settings import MIB, Settings


@pytest.fixture
def job(client: TestClient) -> str:
    """A job for front rotors, its address."""
    answer = client.post("/car", data={"axle": "front", "parts": "rotor"}, follow_redirects=False)
    return answer.headers["location"].removesuffix("/vehicle/line")


@pytest.fixture
def grey_photo() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (120, 124, 128)).save(out, "JPEG")
    return out.getvalue()


def test_an_unknown_job_is_told_on_a_page(client: TestClient) -> None:
    answer = client.get("/jobs/nobody/result")
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "not kept here any more" in answer.text


def test_who_is_lost_is_shown_where_to_go(client: TestClient, job: str) -> None:
    for method, path, status in (("GET", "/nothing", 404), ("GET", f"{job}/keep", 405)):
        page = client.request(method, path)
        assert page.status_code == status
        for address in ("/car", "/phone", "/bench", "/catalogue", "/guide", f"{job}/looks"):
            assert f'href="{address}"' in page.text
        assert "/api/" not in page.text
        assert "header" not in page.text.replace("<header", "").replace("</header", "")


def test_a_program_that_is_lost_gets_a_document_that_names_addresses(client: TestClient) -> None:
    document = client.get("/api/nothing")
    assert document.headers["content-type"] == "application/problem+json"
    assert all(client.get(address).status_code == 200 for address in document.json()["see"])


def test_a_script_of_the_pages_gets_the_problem_document(client: TestClient, job: str) -> None:
    answer = client.post(f"{job}/photo", data={"view": "face"}, headers={"Accept": "application/problem+json"})
    assert answer.status_code == 422
    assert answer.json()["detail"].startswith("No photo was chosen")


def test_a_person_whose_upload_is_too_large_gets_a_page_that_leads_back(tmp_path: Path) -> None:
    small = Settings(data=tmp_path, workers=1, max_upload_bytes=MIB)
    with TestClient(create_app(small), base_url="http://localhost") as client:
        page = client.post(
            "/jobs/x/photo",
            files={"photo": ("a.jpg", b"x" * (MIB + 1), "image/jpeg")},
            headers={"Referer": "http://localhost/jobs/x/photo?view=edge"},
        )
    assert page.status_code == 413
    assert page.headers["content-type"].startswith("text/html")
    assert "At most 1 MB are taken at once" in page.text
    assert 'href="/jobs/x/photo?view=edge"' in page.text


def test_a_problem_leads_back_into_this_site_only(client: TestClient) -> None:
    page = client.get("/jobs/nobody/result", headers={"Referer": "https://elsewhere.example/jobs/x"})
    assert "elsewhere" not in page.text
    assert "Back to the form" not in page.text


@pytest.mark.parametrize("back", ["//elsewhere.example/", "/\\elsewhere.example", "https://elsewhere.example/"])
def test_preferences_lead_back_into_this_site_only(client: TestClient, back: str) -> None:
    answer = client.post("/preferences", data={"unit": "in", "back": back}, follow_redirects=False)
    assert re.match(r"/[^/\\]", answer.headers["location"])


def test_a_forms_answer_is_a_redirect(client: TestClient, job: str) -> None:
    answer = client.post(f"{job}/readings", data={"front.diameter_mm": "9999"}, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{job}/readings#front.diameter_mm")
    assert "can&#39;t be right" in client.get(f"{job}/readings").text


def test_what_was_answered_is_not_advised_again(client: TestClient, job: str) -> None:
    for level, name in (("line", "Ostrabel"), ("model", "Fennock"), ("year", "2020")):
        client.post(f"{job}/vehicle/{level}", data={"choice": name})
    advised = f'href="{job}/looks#car.wheel_in"'
    assert client.get(f"{job}/result").text.count(advised) == 1
    client.post(f"{job}/looks", data={"car.wheel_in": "16"})
    assert advised not in client.get(f"{job}/result").text


def test_a_vehicle_number_is_read_back_once_before_the_way_goes_on(client: TestClient, job: str) -> None:
    looks = f"{job}/looks"
    heard = {"car.vin": "1G4AH99H45G118341"}  # 49 CFR 565.15: its example with a 5 read as a 9
    answer = client.post(looks, data=heard, follow_redirects=False)
    assert answer.headers["location"] == f"{looks}#car.vin"
    page = client.get(looks).text
    assert "1, Golf, 4, Alfa" in page
    assert 'value="1G4AH59H45G118341"' in page
    meant = client.post(looks, data={"car.vin": "1g4ah59h 45g118341"}, follow_redirects=False)
    assert meant.headers["location"] == f"{looks}#car.vin"
    assert "check digit are right" in client.get(looks).text
    again = client.post(looks, data={"car.vin": "1G4AH59H45G118341"}, follow_redirects=False)
    assert again.headers["location"] == f"{job}/photo"


@pytest.mark.parametrize(("consent", "kept"), [({}, 0), ({"consent": "yes"}, 1)])
def test_a_case_holds_the_photo_only_with_consent(
    client: TestClient, job: str, grey_photo: bytes, consent: dict[str, str], kept: int
) -> None:
    files = {"photo": ("grey.jpg", grey_photo, "image/jpeg")}
    assert client.post(f"{job}/photo", data={"axle": "front"}, files=files).status_code == 200
    before = {case["id"] for case in client.get("/api/cases").json()["cases"]}
    client.post(f"{job}/keep", data=consent)
    (new,) = {case["id"] for case in client.get("/api/cases").json()["cases"]} - before
    assert len(client.get(f"/api/cases/{new}").json()["photos"]) == kept
    assert new[:8] in client.get(f"{job}/result").text


def test_photos_of_open_jobs_are_never_written_down(client: TestClient, job: str, settings: Settings) -> None:
    out = io.BytesIO()
    Image.effect_noise((640, 480), 60).save(out, "JPEG")
    photo = out.getvalue()
    client.post(f"{job}/photo", data={"axle": "front"}, files={"photo": ("noise.jpg", photo, "image/jpeg")})
    assert "noise.jpg" in client.get(f"{job}/photo").text
    written = [path.read_bytes() for path in settings.data.rglob("*") if path.is_file()]
    assert written
    assert not any(photo[-2000:] in content for content in written)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_printed_guide_is_one_page(paper: str) -> None:
    sheet = guide_sheet("a4" if paper == "a4" else "letter")
    assert len(re.findall(rb"/Type\s*/Page\b", sheet)) == 1


def test_a_paper_that_is_not_stocked_is_told(client: TestClient) -> None:
    answer = client.get("/tags.pdf?paper=a3")
    assert answer.status_code == 422
    assert "Paper is a4 or letter, not a3." in answer.text
