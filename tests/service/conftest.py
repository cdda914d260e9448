import io
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from service.app import create_app
from service.settings import Settings

LOCAL = "http://localhost"


@pytest.fixture(scope="session")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    return Settings(data=tmp_path_factory.mktemp("data"), workers=1, queue=1)


@pytest.fixture(scope="session")
def client(settings: Settings) -> Iterator[TestClient]:
    with TestClient(create_app(settings), base_url=LOCAL) as client:
        yield client


def jpeg(width: int = 320, height: int = 240) -> bytes:
    """A picture of nothing: a grey ground with a little noise."""
    noise = np.random.default_rng(7).normal(120.0, 4.0, (height, width, 3))
    out = io.BytesIO()
    Image.fromarray(noise.clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=90)
    return out.getvalue()


def png_header(width: int, height: int) -> bytes:
    """A PNG that says how large it is, and holds hardly anything."""
    chunks = ((b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)), (b"IDAT", zlib.compress(b"")))
    packed = (
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


BAD_PHOTOS = {
    "empty.jpg": b"",
    "text.jpg": b"These are words, not a picture.\n",
    "cut.jpg": jpeg()[:4000],
    "huge.png": png_header(20_000, 15_000),
}


@pytest.fixture
def bad_photos(tmp_path: Path) -> Path:
    for name, content in BAD_PHOTOS.items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "dot.png").write_bytes(_dot())
    (tmp_path / "nothing.jpg").write_bytes(jpeg())
    return tmp_path


def _dot() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (1, 1), "white").save(out, "PNG")
    return out.getvalue()
