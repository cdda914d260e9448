"""The catalogue in the browser: to scale, overlaps, and faults where they stand."""

import shutil
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, expect

import catalogue
from catalogue import Catalogue
from service.pages.shelf import Shelf

DEMO = Path(catalogue.__file__).with_name("demo")


def test_rotors_are_drawn_to_one_scale(page: Page, demo: Catalogue) -> None:
    line, models = next(iter(Shelf(demo).lines.items()))
    page.goto(f"/catalogue/model?line={line}&model={models[0]}")
    drawn = page.locator(".drawings li")
    parts = {b.rotor.part: b.rotor for offer in Shelf(demo).offers(line, models[0]) for b in offer.brakes}
    expect(drawn).to_have_count(len(parts))
    for place, rotor in enumerate(parts.values()):
        ring = drawn.nth(place).locator("circle.ring")
        assert float(ring.get_attribute("r") or "nan") * 2 == rotor.diameter_mm
    boxes = {drawn.nth(place).locator("svg").get_attribute("viewBox", timeout=1000) for place in range(len(parts))}
    assert len({(box or "").split()[2] for box in boxes}) == 1


def test_the_matrix_marks_what_no_reading_tells_apart(page: Page) -> None:
    page.goto("/catalogue/overlaps")
    lines = [link.get_attribute("href") or "" for link in page.locator(".steps a").all()]
    marked = 0
    for line in lines:
        page.goto(line)
        marked += page.locator(".matrix td.same").count()
    assert marked > 0


def test_every_fault_of_an_uploaded_catalogue_is_shown_in_place(page: Page, tmp_path: Path) -> None:
    files = [shutil.copy(path, tmp_path) for path in DEMO.glob("*.csv")]
    rotors = tmp_path / "rotors.csv"
    lines = rotors.read_text("utf-8").splitlines()
    part, _, *rest = lines[2].split(",")
    lines[2] = ",".join([part, "wide", *rest])
    rotors.write_text("\n".join(lines) + "\n", "utf-8")
    page.goto("/catalogue/check")
    page.set_input_files("#files", files)
    page.click("text=Check it")
    expect(page.locator(".cells .bad dd")).to_have_text("wide")
    expect(page.locator("section.plate").first).to_contain_text("rotors.csv, row 3, column diameter_mm")


def test_no_page_of_the_catalogue_scrolls_sideways_on_a_phone(
    open_context: Callable[..., BrowserContext], demo: Catalogue, tmp_path: Path
) -> None:
    page = open_context(360).new_page()
    for line, models in Shelf(demo).lines.items():
        for address in (f"/catalogue/model?line={line}&model={models[0]}", f"/catalogue/overlaps?line={line}"):
            page.goto(address)
            assert page.locator("table").first.is_visible()
            assert _scrolls_sideways(page) == []
    for path in DEMO.glob("*.csv"):
        (tmp_path / path.name).write_text(path.read_text("utf-8").replace("33024", "33025", 1), "utf-8")
    page.goto("/catalogue/check")
    page.fill("#folder", str(tmp_path))
    page.click("text=Check it")
    expect(page.locator(".cells .bad").first).to_be_visible()
    assert _scrolls_sideways(page) == []


def test_a_folder_on_this_computer_can_be_named(page: Page) -> None:
    page.goto("/catalogue/check")
    page.fill("#folder", str(DEMO))
    page.click("text=Check it")
    expect(page.get_by_role("status")).to_contain_text("No fault found")


def test_tags_and_guide_come_as_pdf(page: Page) -> None:
    for address in ("/tags.pdf?paper=a4", "/tags.pdf?paper=letter", "/guide.pdf?paper=a4", "/guide.pdf?paper=letter"):
        answer = page.request.get(address)
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.body().startswith(b"%PDF-")


def _scrolls_sideways(page: Page) -> list[str]:
    """Return what is wider inside than out: the page, or something that scrolls in it."""
    wider = "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.outerHTML.slice(0, 90))"
    found: list[str] = page.locator("html, .wide").evaluate_all(wider)
    return found
