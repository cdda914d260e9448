"""Every way that a request can go wrong ends in a problem document of one shape (RFC 9457)."""

import asyncio
import json
import os
import time
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from service.app import create_app
from service.problems import KINDS
from service.settings import MIB, Settings
from service.workers import Busy, Pool, WorkerLost
from tests.service.conftest import BAD_PHOTOS, LOCAL, jpeg

PHOTO = {"photo": ("rotor.jpg", jpeg(), "image/jpeg")}


def assert_problem(answer: Response, status: int, kind: str) -> dict[str, Any]:
    """RFC 9457, 3.1: type, title, status and detail; the media type of section 3."""
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    document: dict[str, Any] = answer.json()
    assert document["type"] == f"urn:whichrotor:problem:{kind}"
    assert document["status"] == status
    assert document["title"] == KINDS[kind].title
    assert document["detail"].strip()
    assert "\n" not in document["detail"]
    return document


@pytest.mark.parametrize(
    ("name", "status", "kind"),
    [
        ("empty.jpg", 415, "not-an-image"),
        ("text.jpg", 415, "not-an-image"),
        ("cut.jpg", 422, "broken-image"),
        ("huge.png", 413, "too-large"),
    ],
)
def test_an_upload_that_is_no_whole_picture(client: TestClient, name: str, status: int, kind: str) -> None:
    answer = client.post("/api/measurements", files={"photo": (name, BAD_PHOTOS[name], "image/jpeg")})
    document = assert_problem(answer, status, kind)
    assert name in document["detail"]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"lies": "floor"}, "lies"),
        ({"reference": "brick"}, "reference"),
        ({"thickness_mm": "thick"}, "thickness_mm"),
        ({"thickness-mm": "26"}, "thickness-mm"),
        ({"rim": "1,2"}, "rim"),
    ],
)
def test_an_option_that_cannot_be_followed(client: TestClient, fields: dict[str, str], said: str) -> None:
    document = assert_problem(client.post("/api/measurements", files=PHOTO, data=fields), 422, "wrong-request")
    assert said in document["detail"]


def test_a_form_without_a_photo(client: TestClient) -> None:
    assert_problem(client.post("/api/measurements", data={"view": "face"}), 422, "wrong-request")
    assert_problem(client.post("/api/measurements"), 422, "wrong-request")
    assert_problem(client.post("/api/measurements", data={"photo": "words"}), 422, "wrong-request")


def test_a_broken_form(client: TestClient) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x"}
    assert_problem(client.post("/api/measurements", content=b"--y\r\nnonsense", headers=headers), 422, "wrong-request")


@pytest.mark.parametrize(
    ("body", "status", "kind"),
    [
        (b"{", 400, "not-json"),
        (b"\xff\xfe", 400, "not-json"),
        (b"", 400, "not-json"),
        (b"[" * 100_000, 400, "not-json"),
        (b'{"vin": "A", "vin": "B"}', 400, "not-json"),
        (b'{"axles": {"front": {"rotor_mark": "\\ud800"}}}', 422, "wrong-evidence"),
        (b'{"\\ud800": 1}', 422, "wrong-evidence"),
        (b'{"axles": {"front": {"diameter_mm": NaN}}}', 422, "wrong-evidence"),
        (b"[]", 422, "wrong-evidence"),
        (b'{"colour": "red"}', 422, "wrong-evidence"),
        (b'{"axles": {"front": {"diameter_mm": -330}}}', 422, "wrong-evidence"),
        (b'{"axles": {"front": {"surface": {"plain": 0.4, "drilled": 0.4}}}}', 422, "wrong-evidence"),
    ],
)
def test_evidence_that_cannot_be_used(client: TestClient, body: bytes, status: int, kind: str) -> None:
    assert_problem(client.post("/api/identifications", content=body), status, kind)


@pytest.mark.parametrize(
    ("method", "path", "status", "kind"),
    [
        ("GET", "/api/nothing", 404, "not-found"),
        ("GET", "/api/cases/nothing", 404, "not-found"),
        ("DELETE", "/api/cases/nothing", 404, "not-found"),
        ("GET", "/api/cases/nothing/photos/none", 404, "not-found"),
        ("PUT", "/api/health", 405, "wrong-method"),
        ("DELETE", "/api/catalogue", 405, "wrong-method"),
        ("GET", "/api/measurements", 405, "wrong-method"),
        ("GET", "/api/identifications", 405, "wrong-method"),
        ("GET", "/api/cases?limit=many", 422, "wrong-request"),
        ("GET", "/api/cases?limit=0", 422, "wrong-request"),
    ],
)
def test_an_address_that_is_not_used_that_way(
    client: TestClient, method: str, path: str, status: int, kind: str
) -> None:
    assert_problem(client.request(method, path), status, kind)


def test_an_upload_over_the_limit_is_turned_away_whether_it_says_its_size_or_not(settings: Settings) -> None:
    small = Settings(data=settings.data, workers=1, max_upload_bytes=MIB)
    body = b"x" * (MIB + 1)
    with TestClient(create_app(small), base_url=LOCAL) as client:
        for path in ("/api/measurements", "/api/identifications"):
            assert_problem(client.post(path, content=body), 413, "too-large")
        untold = client.post("/api/identifications", content=iter([body[:MIB], body[MIB:]]))
        assert_problem(untold, 413, "too-large")
        headers = {"content-type": "multipart/form-data; boundary=x"}
        head = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
        upload = client.post("/api/measurements", content=iter([head, body]), headers=headers)
        assert_problem(upload, 413, "too-large")


@pytest.mark.parametrize(("trouble", "word"), [(Busy(), "bench"), (WorkerLost(), "ended")])
def test_a_busy_service_says_when_to_come_back(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, trouble: Exception, word: str
) -> None:
    async def refuse(*_: object, **__: object) -> None:
        raise trouble

    monkeypatch.setattr(Pool, "measure", refuse)
    answer = client.post("/api/measurements", files=PHOTO)
    assert word in assert_problem(answer, 503, "busy")["detail"]
    assert int(answer.headers["retry-after"]) > 0


def test_a_fault_of_the_program_is_500_and_tells_no_secrets(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def stumble(*_: object, **__: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr(Pool, "measure", stumble)
    with TestClient(create_app(settings), base_url=LOCAL, raise_server_exceptions=False) as client:
        document = assert_problem(client.post("/api/measurements", files=PHOTO), 500, "fault")
    assert "secret" not in json.dumps(document)


def test_a_full_pool_is_busy_at_once_and_takes_work_again() -> None:
    async def fill(pool: Pool) -> None:
        first = asyncio.ensure_future(pool.run(time.sleep, 0.5))
        await asyncio.sleep(0)
        with pytest.raises(Busy):
            await pool.run(time.sleep, 0.0)
        await first
        await pool.run(time.sleep, 0.0)

    pool = Pool(workers=1, queue=0)
    asyncio.run(fill(pool))
    pool.close()


def test_a_process_that_was_ended_is_replaced() -> None:
    async def lose_one(pool: Pool) -> None:
        with pytest.raises(WorkerLost):
            await pool.run(os._exit, 1)
        assert await pool.run(len, "abc") == 3

    pool = Pool(workers=1, queue=1)
    asyncio.run(lose_one(pool))
    pool.close()
