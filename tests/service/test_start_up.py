"""A command loads what it needs and no more; and the rooms are this repository's own."""

import subprocess
import sys
from pathlib import Path

import pytest

import catalogue
import service
import vision

HEAVY = ("fastapi", "sqlalchemy", "distributed", "alembic", "uvicorn", "reportlab")


@pytest.mark.parametrize("name", ["measure", "identify", "vin", "catalogue"])
def test_a_small_command_leaves_the_servers_libraries_alone(name: str) -> None:
    code = f"import sys, service.cli, service.commands.{name}; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert set(HEAVY) & set(loaded) == set()


def test_measure_loads_no_catalogue() -> None:
    code = "import sys, service.cli, service.commands.measure; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert "vision" in loaded
    assert "catalogue" not in loaded


@pytest.mark.parametrize("room", [service, vision, catalogue])
def test_the_rooms_are_this_repositorys(room: object) -> None:
    place = getattr(room, "__file__", None)
    assert place is not None
    assert Path(place).parents[1] == Path(__file__).parents[2]
