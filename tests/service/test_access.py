"""Who gets in: this machine freely, others with the token, other sites not at all."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.access import COOKIE, lan_address, link, new_token
from service.app import create_app
from service.settings import Settings, settings_from

TOKEN = "a-token-of-the-test"
LAN = "http://192.0.2.7:8000"


@pytest.fixture
def lan_client(tmp_path: Path) -> Iterator[TestClient]:
    app = create_app(Settings(host="0.0.0.0", token=TOKEN, data=tmp_path, workers=1))
    with TestClient(app, base_url=LAN, follow_redirects=False) as client:
        yield client


def test_without_the_token_nothing_is_answered(lan_client: TestClient) -> None:
    for path in ("/", "/api/health", "/api/cases", "/static/../api/cases", "/jobs/x/result"):
        answer = lan_client.get(path)
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"] == "Bearer"
    assert lan_client.post("/api/identifications", json={}).status_code == 401
    assert lan_client.get("/api/health", headers={"authorization": "Bearer wrong"}).status_code == 401
    assert lan_client.get("/api/health?token=wrong").status_code == 401


def test_the_page_that_asks_for_the_token_looks_like_the_others_and_takes_it(lan_client: TestClient) -> None:
    page = lan_client.get("/")
    for sheet in re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text):
        assert lan_client.get(sheet).status_code == 200
    assert '<form action="/"' in page.text
    assert 'name="token"' in page.text
    assert lan_client.post("/static/base.css").status_code == 401


def test_a_person_without_the_token_gets_a_page_and_a_program_a_document(lan_client: TestClient) -> None:
    page, document = lan_client.get("/"), lan_client.get("/api/health")
    assert page.headers["content-type"].startswith("text/html")
    assert document.headers["content-type"] == "application/problem+json"
    for answer in (page, document):
        assert "whichrotor serve" in answer.text
        assert TOKEN not in answer.text


def test_a_program_brings_the_token_in_a_header(lan_client: TestClient) -> None:
    answer = lan_client.get("/api/health", headers={"authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 200


def test_the_link_sets_a_cookie_and_leaves_the_address_bar_without_the_token(lan_client: TestClient) -> None:
    answer = lan_client.get(f"/api/health?token={TOKEN}&x=1")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/api/health?x=1"
    assert "HttpOnly" in answer.headers["set-cookie"]
    assert lan_client.cookies[COOKIE] == TOKEN
    assert lan_client.get(answer.headers["location"]).status_code == 200


def test_the_link_leads_nowhere_else(lan_client: TestClient) -> None:
    answer = lan_client.get(f"{LAN}//elsewhere.example/?token={TOKEN}")
    assert answer.headers["location"] == "/elsewhere.example/"


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_site_can_send_nothing(client: TestClient, site: str) -> None:
    answer = client.post("/api/identifications", json={}, headers={"sec-fetch-site": site})
    assert answer.status_code == 403
    assert answer.json()["type"].endswith("other-site")


@pytest.mark.parametrize("host", ["elsewhere.example", "elsewhere.example:8000", "10.0.0.1"])
def test_a_foreign_name_for_this_machine_is_not_served(client: TestClient, host: str) -> None:
    assert client.get("/api/health", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost", "localhost:8000", "127.0.0.1:8000", "[::1]:8000", "[::1]"])
def test_this_machine_by_any_of_its_own_names_is_served(client: TestClient, host: str) -> None:
    assert client.get("/api/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "workshop.example"])
def test_an_open_address_needs_a_token(host: str) -> None:
    with pytest.raises(ValueError, match="needs a token"):
        Settings(host=host)
    assert Settings(host=host, token=TOKEN).host == host


@pytest.mark.parametrize("host", ["127.0.0.1", "127.1.2.3", "::1", "localhost"])
def test_loopback_needs_none(host: str) -> None:
    assert Settings(host=host).token is None


def test_settings_come_from_the_environment_and_are_overruled_by_what_is_told() -> None:
    environ = {"WHICHROTOR_TOKEN": TOKEN, "WHICHROTOR_WORKERS": "3", "WHICHROTOR_DATA": "cases"}
    settings = settings_from(environ, port=9000, host=None)
    assert (settings.token, settings.workers, settings.port, settings.host) == (TOKEN, 3, 9000, "127.0.0.1")
    assert settings.cases_url == "sqlite:///cases/cases.sqlite"
    with pytest.raises(ValueError, match="WHICHROTOR_WORKERS must be a whole number, not 'many'"):
        settings_from({"WHICHROTOR_WORKERS": "many"})


def test_tokens_are_long_and_never_the_same() -> None:
    tokens = {new_token() for _ in range(100)}
    assert len(tokens) == 100
    assert min(map(len, tokens)) >= 24


def test_links_carry_the_token_and_bracket_an_ipv6_address() -> None:
    assert link("192.0.2.7", 8000, "a b") == "http://192.0.2.7:8000/?token=a+b"
    assert link("::1", 80, None) == "http://[::1]:80/"


def test_the_lan_address_is_one_that_can_be_told_to_a_phone() -> None:
    try:
        address = lan_address()
    except OSError:
        pytest.skip("this machine has no network, so it has no such address")
    assert not address.startswith(("127.", "0."))
