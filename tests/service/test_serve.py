"""The real server, in a process of its own."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2

from tests.service.conftest import jpeg

PATIENCE_S = 60


@contextmanager
def served(data: Path, *words: str) -> Iterator[str]:
    """Run ``whichrotor serve`` on a free port and yield the link that it prints."""
    command = [sys.executable, "-m", "service.cli", "serve", "--port", "0", *words]
    environ = os.environ | {"WHICHROTOR_DATA": str(data), "WHICHROTOR_WORKERS": "1"}
    with subprocess.Popen(command, env=environ, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            link = re.search(r"http://\S+", server.stdout.readline())
            assert link is not None
            yield link.group()
        finally:
            server.terminate()
            server.communicate(timeout=PATIENCE_S)


def test_the_server_measures_and_ranks(tmp_path: Path) -> None:
    with served(tmp_path) as link, httpx2.Client(base_url=link, timeout=PATIENCE_S) as client:
        assert client.get("/api/health").json()["status"] == "ok"
        assert client.get("/").status_code == 200
        refused = client.post("/api/measurements", files={"photo": ("nothing.jpg", jpeg(), "image/jpeg")})
        assert refused.status_code == 200
        assert refused.json()["status"] == "refused"
        ranked = client.post("/api/identifications", json={"axles": {"front": {"diameter_mm": 330}}})
        assert ranked.status_code == 200
        total = sum(row["probability"] for row in ranked.json()["candidates"])
        total += ranked.json()["others"]["probability"] + ranked.json()["none_of_these"]
        assert abs(total - 1.0) < 1e-6


def test_on_the_lan_only_the_printed_link_lets_in(tmp_path: Path) -> None:
    with served(tmp_path, "--lan") as link:
        base, _, _ = link.partition("?")
        here = re.sub(r"//[^:/]+", "//127.0.0.1", link)
        with httpx2.Client(timeout=PATIENCE_S, follow_redirects=True) as client:
            assert "token=" in link
            assert client.get(re.sub(r"//[^:/]+", "//127.0.0.1", base)).status_code == 401
            assert client.get(here).status_code == 200
            assert client.get(re.sub(r"\?.*", "api/health", here)).json()["status"] == "ok"
