"""The real server in a process of its own, and a real Chromium to walk its pages with."""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from catalogue import Catalogue, load_catalogue
from service.pages.shelf import Brake, Shelf

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images_synthetic" / "first"
CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 30_000  # a busy machine measures a photo in seconds; a quiet one never waits for this


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if item.path.is_relative_to(here):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the server listens, without a slash at the end."""
    environ = {**os.environ, "WHICHROTOR_DATA": str(tmp_path_factory.mktemp("data")), "WHICHROTOR_WORKERS": "1"}
    command = [sys.executable, "-m", "service.cli", "serve", "--port", "0"]
    with subprocess.Popen(command, cwd=ROOT, env=environ, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        line = server.stdout.readline()
        assert line.startswith("Whichrotor: http"), "the server did not start"
        yield line.split()[1].rstrip("/")
        server.terminate()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def open_context(browser: Browser, address: str) -> Iterator[Callable[..., BrowserContext]]:
    """Open a fresh browser context of a width, with or without JavaScript."""
    opened: list[BrowserContext] = []

    def open_one(width: int = 1440, **options: object) -> BrowserContext:
        viewport = {"width": width, "height": 800}
        context = browser.new_context(base_url=address, viewport=viewport, **options)  # type: ignore[arg-type]
        context.set_default_timeout(PATIENCE_MS)
        opened.append(context)
        return context

    yield open_one
    for context in opened:
        context.close()


@pytest.fixture
def page(open_context: Callable[..., BrowserContext]) -> Iterator[Page]:
    """A page on a large screen, with JavaScript; a script's fault fails the test."""
    opened, faults = open_context().new_page(), list[str]()
    opened.on("pageerror", lambda fault: faults.append(str(fault)))
    yield opened
    assert not faults


@pytest.fixture(scope="session")
def demo() -> Catalogue:
    return load_catalogue(None)


@pytest.fixture(scope="session")
def brake(demo: Catalogue) -> Brake:
    """A front brake whose rotor carries a number that no other rotor of the catalogue has."""
    shelf = Shelf(demo)
    brakes = [
        b for line, models in shelf.lines.items() for offer in shelf.offers(line, models[0]) for b in offer.brakes
    ]
    marks = [mark for marks in demo.rotors.marks for mark in marks]
    return next(b for b in brakes if b.axle == "front" and b.rotor.marks and marks.count(b.rotor.marks[0]) == 1)


@pytest.fixture(scope="session")
def car(demo: Catalogue, brake: Brake) -> tuple[str, str, str]:
    """Line, model and a year of a car that may have ``brake``."""
    shelf = Shelf(demo)
    for line, models in shelf.lines.items():
        for model in models:
            for offer in shelf.offers(line, model):
                if offer.package == brake.package:
                    return line, model, offer.years[:4]
    raise AssertionError(brake.package)


@pytest.fixture(scope="session")
def photo() -> Path:
    """A sample photo of a rotor's face that can be measured."""
    truth = json.loads((SAMPLES / "truth.json").read_text("utf-8"))
    item = next(item for item in truth if item["group"] == "face-on" and item["expect"] == "measured")
    return SAMPLES / str(item["file"])


@pytest.fixture(scope="session")
def card_photo() -> Path:
    """A sample photo of a rotor's face with a card on it."""
    truth = json.loads((SAMPLES / "truth.json").read_text("utf-8"))
    return SAMPLES / str(next(item for item in truth if item["id"] == "s04")["file"])


@pytest.fixture(scope="session")
def edge_photo() -> Path:
    """A sample photo of a rotor's edge with a card on it, one of those that can be measured."""
    truth = json.loads((SAMPLES.parent / "checking" / "truth.json").read_text("utf-8"))
    item = next(i for i in truth if i["id"] == "c094")
    return SAMPLES.parent / "checking" / str(item["file"])


@pytest.fixture(scope="session")
def empty_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sharp photo of a brick wall: no rotor in it."""
    path = tmp_path_factory.mktemp("photos") / "wall.jpg"
    wall = Image.new("RGB", (1200, 900), (170, 160, 150))
    draw = ImageDraw.Draw(wall)
    for row in range(15):
        for column in range(-1, 9):
            left, top = column * 150 + row % 2 * 75, row * 60
            shade = 110 + (row * 7 + column * 13) % 40
            draw.rectangle((left, top, left + 143, top + 53), fill=(shade, shade // 2, shade // 3))
    wall.save(path, quality=92)
    return path


@pytest.fixture(scope="session")
def no_photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A text that calls itself a photo."""
    path = tmp_path_factory.mktemp("photos") / "letter.jpg"
    path.write_text("Dear Sir or Madam", "utf-8")
    return path


@pytest.fixture(scope="session")
def choose_car(car: tuple[str, str, str]) -> Callable[[Page], None]:
    """Tap the line, the model and the year of ``car``."""

    def choose(page: Page) -> None:
        for level, name in zip(("line", "model", "year"), car, strict=True):
            page.wait_for_url(f"**/vehicle/{level}")
            page.get_by_role("button", name=name, exact=True).click()

    return choose


@pytest.fixture(scope="session")
def begin_at_the_car(choose_car: Callable[[Page], None]) -> Callable[[Page], None]:
    """Walk to the quick looks for front rotors and pads of ``car``."""

    def begin(page: Page) -> None:
        page.goto("/car")
        page.check("[name=axle][value=front]")
        page.check("[name=parts][value=both]")
        page.click("text=Go on")
        choose_car(page)
        page.wait_for_url("**/looks")

    return begin


@pytest.fixture(scope="session")
def fill() -> Callable[[Page, str, str], None]:
    """Fill the field of an answer, unfolding what it is folded into."""

    def fill_one(page: Page, place: str, text: str) -> None:
        folded = page.locator(f'details:not([open]):has([id="{place}"]) > summary')
        if folded.count():
            folded.click()
        page.fill(f'[id="{place}"]', text)

    return fill_one


@pytest.fixture(scope="session")
def measured_at(browser: Browser, address: str, begin_at_the_car: Callable[[Page], None], photo: Path) -> str:
    """The address of a photo that was measured, for tests that look at it; what they move stays moved."""
    page = browser.new_page(base_url=address)
    page.set_default_timeout(PATIENCE_MS)
    begin_at_the_car(page)
    page.click("text=Skip to the photo")
    page.set_input_files("#photo", photo)
    page.click("text=Measure it")
    page.wait_for_url("**/photos/*")
    found = page.url
    page.close()
    return found
