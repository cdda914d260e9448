"""Each entrance, walked from its start to the order sheet, on a phone's and on a desk's screen."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from service.pages.shelf import Brake

WIDTHS = (360, 1440)
Fill = Callable[[Page, str, str], None]
Open = Callable[..., BrowserContext]


@pytest.mark.parametrize("width", WIDTHS)
def test_at_the_car(
    open_context: Open, width: int, begin_at_the_car: Callable[[Page], None], photo: Path, brake: Brake, fill: Fill
) -> None:
    page = open_context(width).new_page()
    page.goto("/")
    page.click("text=At the car")
    expect(page.get_by_role("heading", name="What do you want?")).to_be_visible()
    begin_at_the_car(page)
    page.click("text=Go on")
    page.set_input_files("#photo", photo)
    page.click("text=Measure it")
    expect(page.locator(".readout.plate")).to_contain_text("Diameter")
    expect(page.locator("polygon.found.rim")).to_have_count(1)
    page.click(".steps >> text=Readings")
    page.click("text=Show the result")
    expect(page.locator(".verdict")).to_have_count(2)
    page.click(".steps >> text=Looks")
    fill(page, "front.rotor_mark", brake.rotor.marks[0])
    page.click(".steps >> text=Result")  # leaving a form unsent loses nothing and changes nothing
    page.go_back()
    expect(page.locator('[id="front.rotor_mark"]')).to_have_value(brake.rotor.marks[0])
    page.click("text=Go on")
    page.click(".steps >> text=Result")
    expect(page.locator(".ranking")).to_contain_text("None of these")
    _expect_no_sideways_scroll(page)


@pytest.mark.parametrize("width", WIDTHS)
def test_at_the_car_a_face_photo_then_an_edge_photo_then_the_result(
    open_context: Open, width: int, begin_at_the_car: Callable[[Page], None], photo: Path, edge_photo: Path
) -> None:
    page = open_context(width).new_page()
    begin_at_the_car(page)
    page.click("text=Go on")
    page.set_input_files("#photo", photo)
    page.click("text=Measure it")
    expect(page.locator(".readout.plate")).to_contain_text("Diameter")
    page.click(".steps >> text=Readings")
    page.click("text=Take a photo of the edge")
    expect(page.get_by_role("heading", name="Take one photo of the rotor's edge")).to_be_visible()
    page.set_input_files("#photo", edge_photo)
    page.select_option("#reference", "card")
    page.click("text=Measure it")
    expect(page.locator(".readout.plate")).to_contain_text("Thickness of the ring")
    expect(page.locator("polygon.found.rim")).to_have_count(1)
    _expect_no_sideways_scroll(page)
    page.click("#fit ~ .actions >> text=/Go on|Show the result/")
    page.wait_for_url("**/result")
    expect(page.locator(".charts")).to_contain_text("Diameter across the ring, from the photo")
    expect(page.locator(".charts")).to_contain_text("Thickness of the ring, from the photo")
    rests_on = page.locator("section", has_text="What this rests on").last
    expect(rests_on).to_contain_text(photo.name)
    expect(rests_on).to_contain_text(edge_photo.name)
    page.click(".steps >> text=Photo")
    expect(page.get_by_role("link", name=edge_photo.name)).to_be_visible()
    _expect_no_sideways_scroll(page)


@pytest.mark.parametrize("width", WIDTHS)
def test_at_the_car_a_number_on_the_part_settles_it(
    open_context: Open, width: int, begin_at_the_car: Callable[[Page], None], brake: Brake, fill: Fill
) -> None:
    page = open_context(width).new_page()
    begin_at_the_car(page)
    fill(page, "front.rotor_mark", brake.rotor.marks[0])
    page.click("text=Go on")
    page.wait_for_url("**/result")
    expect(page.locator("#order")).to_contain_text(brake.rotor.part)
    expect(page.locator(".verdict.ready").first).to_contain_text(brake.rotor.part)
    _expect_no_sideways_scroll(page)


@pytest.mark.parametrize("width", WIDTHS)
def test_at_the_car_a_vehicle_number_is_read_back(
    open_context: Open, width: int, begin_at_the_car: Callable[[Page], None], fill: Fill
) -> None:
    page = open_context(width).new_page()
    begin_at_the_car(page)
    fill(page, "car.wheel_in", "18")
    fill(page, "car.vin", "1G4AH99H45G118341")  # 49 CFR 565.15: its example with a 5 read as a 9
    page.keyboard.press("Enter")
    expect(page.locator("main form")).to_contain_text("Read it back")
    expect(page.locator("main form")).to_contain_text("misheard")
    fill(page, "car.wheel_in", "19")
    page.keyboard.press("Enter")  # the number unchanged: it was read back
    page.wait_for_url("**/photo")
    page.go_back()
    page.get_by_role("button", name="1G4AH59H45G118341").click()
    expect(page.locator("main form")).to_contain_text("check digit are right")
    expect(page.locator('[id="car.vin"]')).to_have_value("1G4AH59H45G118341")
    expect(page.locator('[id="car.wheel_in"]')).to_have_value("19")
    _expect_no_sideways_scroll(page)
    page.click("text=Go on")
    page.wait_for_url("**/photo")


@pytest.mark.parametrize("width", WIDTHS)
def test_on_the_phone(
    open_context: Open, width: int, choose_car: Callable[[Page], None], brake: Brake, fill: Fill
) -> None:
    page = open_context(width).new_page()
    page.goto("/")
    page.click("text=On the phone")
    page.check("[name=axle][value=front]")
    page.check("[name=parts][value=both]")
    page.click("text=Go on")
    choose_car(page)
    page.click("text=Take the vehicle number")
    fill(page, "car.vin", "1G4AH99H45G118341")  # 49 CFR 565.15: its example with a 5 heard as a 9
    page.click("text=Check and read back")
    expect(page.locator("main form")).to_contain_text("misheard")
    expect(page.locator("main form")).to_contain_text("1G4AH59H45G118341")
    page.get_by_role("button", name="1G4AH59H45G118341").click()
    expect(page.locator("main form")).to_contain_text("check digit are right")
    page.get_by_role("button", name="Don't know").click()
    facts = _facts(brake)
    for _ in range(30):
        expect(page.locator(".standing .ranking")).to_be_visible()
        place = page.locator("form .field input, form input[type=radio]").first.get_attribute("name") or ""
        _answer(page, place, facts.get(place.removeprefix("front."), ""))
        if page.url.endswith("/result"):
            break
    expect(page.locator("#order")).to_contain_text(brake.rotor.part)
    expect(page.locator("#customer-text")).to_have_value(re.compile(re.escape(brake.rotor.part)))
    page.go_back()
    expect(page.locator(".say")).to_be_visible()
    _expect_no_sideways_scroll(page)


@pytest.mark.parametrize("width", WIDTHS)
def test_on_the_bench(open_context: Open, width: int, photo: Path, empty_photo: Path, brake: Brake, fill: Fill) -> None:
    page = open_context(width).new_page()
    page.goto("/")
    page.click("text=On the bench")
    page.set_input_files("#photo", [photo, empty_photo])
    page.click("text=Measure them")
    rows = page.locator("#rows tbody tr")
    expect(rows).to_have_count(2)
    expect(rows.nth(0).locator("li").first).to_be_visible()
    expect(rows.nth(1)).to_contain_text("No brake rotor was found")
    rows.nth(1).get_by_role("link", name="Readings").click()
    fill(page, "unknown.rotor_mark", brake.rotor.marks[0])
    page.click("text=Show the result")
    expect(page.locator("#order, .ranking").first).to_be_visible()
    expect(page.locator(".ranking").first).to_contain_text(brake.package)
    page.click(".steps >> text=All rotors")
    expect(rows.nth(1)).to_contain_text(brake.rotor.part)
    for name, kind in (("Labels to stick on", "application/pdf"), ("Spreadsheet", "text/csv")):
        answer = page.request.get(page.get_by_role("link", name=name).get_attribute("href") or "")
        assert answer.headers["content-type"].startswith(kind)
    _expect_no_sideways_scroll(page)


def test_a_bench_goes_on_when_one_photo_is_cancelled_and_another_fails(
    page: Page, photo: Path, empty_photo: Path, no_photo: Path
) -> None:
    page.goto("/bench")
    page.set_input_files("#photo", [empty_photo, no_photo, photo])
    page.route("**/bench", lambda route: route.abort(), times=1)
    page.click("text=Measure them")
    queue = page.locator("#queue")
    expect(queue).to_contain_text("connection was lost")
    cancel = queue.locator("div", has_text=photo.name).get_by_role("button", name="Cancel").last
    cancel.click()
    rows = page.locator("#rows tbody tr")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text(no_photo.name)
    queue.get_by_role("button", name="Try again").click()
    expect(rows).to_have_count(2)
    page.reload()
    expect(rows).to_have_count(2)


def test_all_of_a_bench_can_be_cancelled_at_once(page: Page, empty_photo: Path, no_photo: Path) -> None:
    page.goto("/bench")
    page.set_input_files("#photo", [empty_photo, no_photo, empty_photo, no_photo])
    held: list[Route] = []
    page.route("**/bench", lambda route: held.append(route))
    page.click("text=Measure them")
    page.get_by_role("button", name="Cancel all").click()
    expect(page.locator("#queue > *")).to_have_count(0)
    expect(page.get_by_role("button", name="Measure them")).to_be_enabled()
    expect(page.locator("#rows tbody tr")).to_have_count(0)
    assert len(held) <= 1


def _facts(brake: Brake) -> dict[str, str]:
    """What a customer with this brake would answer."""
    rotor = brake.rotor
    facts = {
        "rotor_mark": rotor.marks[0],
        "surface": rotor.surface,
        "construction": rotor.construction,
        "ventilation": rotor.ventilation,
        "diameter_mm": f"{rotor.diameter_mm:g}",
        "caliper_mount": brake.caliper.mount,
    }
    return {key: value for key, value in facts.items() if value}


def _answer(page: Page, place: str, fact: str) -> None:
    if not fact:
        page.get_by_role("button", name="Don't know").click()
    elif page.locator(f'input[type=radio][name="{place}"]').count():
        page.check(f'input[name="{place}"][value="{fact}"]')
        page.click("text=Next question")
    else:
        page.fill(f'[id="{place}"]', fact)
        page.click("text=Next question")


def _expect_no_sideways_scroll(page: Page) -> None:
    wide, seen = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= seen
