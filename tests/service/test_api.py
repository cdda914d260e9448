"""The contract's documents over HTTP, and the same by every other entrance."""

import json
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.cli import main
from service.options import PHOTO_OPTIONS
from tests.service.conftest import jpeg

SAME_MM = 0.001  # threads add up in another order; nothing else may differ
SAMPLE = Path(__file__).parents[2] / "sample_images_synthetic" / "first" / "s01.jpg"
EVIDENCE = {"vehicle": {"line": "Ostrabel"}, "axles": {"front": {"diameter_mm": 330.1, "surface": "plain"}}}


def test_health_says_what_is_served(client: TestClient) -> None:
    answer = client.get("/api/health")
    assert answer.status_code == 200
    assert answer.json()["status"] == "ok"
    assert answer.json()["fitments"] > 0


def test_the_catalogue_names_lines_and_models(client: TestClient) -> None:
    document = client.get("/api/catalogue").json()
    assert document["counts"]["fitments"] == client.get("/api/health").json()["fitments"]
    assert all(line["line"] and line["models"] for line in document["lines"])


def test_a_refused_photo_is_an_answer(client: TestClient) -> None:
    answer = client.post("/api/measurements", files={"photo": ("nothing.jpg", jpeg(), "image/jpeg")})
    assert answer.status_code == 200
    measurement = answer.json()
    assert (measurement["status"], measurement["photo"], measurement["view"]) == ("refused", "nothing.jpg", "face")
    assert measurement["reasons"]


def test_http_and_command_line_give_the_same_measurement(
    client: TestClient, capsys: pytest.CaptureFixture[str]
) -> None:
    options = {"reference": "tag:39.9", "hat": "up", "thickness_mm": "24"}
    with SAMPLE.open("rb") as photo:
        over_http = client.post("/api/measurements", files={"photo": photo}, data=options).json()
    words = [word for name, value in options.items() for word in (f"--{name.replace('_', '-')}", value)]
    main(["measure", str(SAMPLE), *words, "--json"])
    by_command = json.loads(capsys.readouterr().out)
    assert by_command.keys() == over_http.keys()
    for key, length in by_command["dimensions"].items():
        assert over_http["dimensions"][key] == pytest.approx(length, rel=0, abs=SAME_MM)
    for key in ("photo", "view", "status", "reasons", "warnings", "told"):
        assert by_command[key] == over_http[key]
    assert over_http["told"] == {"thickness_mm": 24.0}


def test_http_and_command_line_give_the_same_identification(
    client: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "evidence.json"
    path.write_text(json.dumps(EVIDENCE), encoding="utf-8")
    assert main(["identify", str(path), "--json"]) == 0
    by_command = json.loads(capsys.readouterr().out)
    assert by_command.pop("photos") == []
    assert client.post("/api/identifications", json=EVIDENCE).json() == by_command


def test_a_null_is_the_same_as_nothing(client: TestClient) -> None:
    with_null = EVIDENCE | {"vin": None, "option_codes": None}
    ranked = client.post("/api/identifications", json=with_null)
    assert ranked.json() == client.post("/api/identifications", json=EVIDENCE).json()


def test_the_probabilities_sum_to_one(client: TestClient) -> None:
    answer = client.post("/api/identifications", json=EVIDENCE).json()
    listed = sum(row["probability"] for row in answer["candidates"])
    assert listed + answer["others"]["probability"] + answer["none_of_these"] == pytest.approx(1.0, abs=1e-6)


def test_the_api_describes_itself(client: TestClient) -> None:
    paths = client.get("/api/openapi.json").json()["paths"]
    form = paths["/api/measurements"]["post"]["requestBody"]["content"]["multipart/form-data"]["schema"]
    assert set(form["properties"]) == {"photo", *PHOTO_OPTIONS}
    for path, methods in paths.items():
        assert path.startswith("/api/")
        for operation in methods.values():
            assert "application/problem+json" in operation["responses"]["4XX"]["content"]
