"""Pages for everybody: keyboard only, screen readers, no JavaScript, slow networks, paper, both units."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, Response, expect

import catalogue
from catalogue import Catalogue
from service.pages.shelf import Brake, Shelf

Fill = Callable[[Page, str, str], None]
Begin = Callable[[Page], None]
Open = Callable[..., BrowserContext]
FIRST_PAGE_BYTES = 100_000
SERIOUS = ("serious", "critical")
PAGES = ("/", "/car", "/bench", "/guide", "/catalogue", "/catalogue/overlaps", "/catalogue/check", "/nothing")


def test_the_first_page_is_light(page: Page) -> None:
    answers: list[Response] = []
    page.on("response", lambda answer: answers.append(answer))
    page.goto("/", wait_until="networkidle")
    assert len(answers) > 3
    assert sum(len(answer.body()) for answer in answers) < FIRST_PAGE_BYTES


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_in_either_colours(
    open_context: Open, scheme: str, begin_at_the_car: Begin, brake: Brake, fill: Fill
) -> None:
    page = open_context(360, color_scheme=scheme).new_page()
    begin_at_the_car(page)
    assert _serious(page) == []
    fill(page, "front.rotor_mark", brake.rotor.marks[0])
    page.click("text=Go on")
    page.wait_for_url("**/result")
    assert _serious(page) == []


def test_axe_finds_nothing_serious_on_any_page(open_context: Open, begin_at_the_car: Begin) -> None:
    page = open_context(360).new_page()
    for address in PAGES:
        page.goto(address)
        assert _serious(page) == []
    page.goto("/catalogue")
    page.click("main .tile >> nth=0")
    assert _serious(page) == []
    begin_at_the_car(page)
    job = page.url.removesuffix("/looks")
    for step in ("photo", "readings", "result"):
        page.goto(f"{job}/{step}")
        assert _serious(page) == []


def test_axe_finds_nothing_serious_about_a_photo_and_a_question(
    open_context: Open, measured_at: str, choose_car: Begin
) -> None:
    page = open_context().new_page()
    page.goto(measured_at)
    assert _serious(page) == []
    page.goto("/phone")
    page.check("[name=axle][value=both]")
    page.check("[name=parts][value=rotor]")
    page.click("text=Go on")
    page.wait_for_url("**/vehicle/line")
    assert _serious(page) == []
    choose_car(page)
    page.wait_for_url("**/ask/*")
    assert _serious(page) == []


def test_axe_finds_nothing_serious_where_something_is_asked_back(
    open_context: Open, begin_at_the_car: Begin, empty_photo: Path, brake: Brake, fill: Fill, tmp_path: Path
) -> None:
    page = open_context(360, color_scheme="dark").new_page()
    begin_at_the_car(page)
    fill(page, "car.vin", "1G4AH99H45G118341")
    page.keyboard.press("Enter")
    expect(page.locator(".spelt")).to_be_visible()
    assert _serious(page) == []
    page.goto(page.url.split("/looks")[0] + "/readings")
    fill(page, "front.diameter_mm", "13")
    page.keyboard.press("Tab")
    assert _serious(page) == []
    page.goto("/bench")
    page.set_input_files("#photo", empty_photo)
    page.click("text=Measure them")
    expect(page.locator("#rows tbody tr")).to_have_count(1)
    assert _serious(page) == []
    page.locator("#rows").get_by_role("link", name="Photo").click()
    expect(page.locator("#fit .fault")).to_be_visible()
    assert _serious(page) == []
    for path in Path(catalogue.__file__).with_name("demo").glob("*.csv"):
        (tmp_path / path.name).write_text(path.read_text("utf-8").replace(brake.rotor.part, "", 1), "utf-8")
    page.goto("/catalogue/check")
    page.fill("#folder", str(tmp_path))
    page.click("text=Check it")
    expect(page.locator(".cells .bad").first).to_be_visible()
    assert _serious(page) == []


def test_on_the_phone_by_keyboard_alone(page: Page, car: tuple[str, str, str]) -> None:
    page.goto("/")
    _tab_to(page, "a[href='/phone']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/phone")
    for name in ("axle", "parts"):
        _tab_to(page, f"[name={name}]")
        page.keyboard.press("Space")
    page.keyboard.press("Enter")
    _choose_by_keyboard(page, car)
    page.wait_for_url("**/ask/*")
    first = page.url
    _tab_to(page, "button[value=pass]")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Question 2.")
    assert page.url != first
    _tab_to(page, "main a[href$='/ask/car.vin']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/ask/car.vin")
    _tab_to(page, '[id="car.vin"]')
    page.keyboard.type("1G4AH99H45G118341")  # 49 CFR 565.15: its example with a 5 heard as a 9
    page.keyboard.press("Enter")
    expect(page.locator(".spelt")).to_be_visible()
    _tab_to(page, "button[value='1G4AH59H45G118341']")
    page.keyboard.press("Enter")
    expect(page.locator("main form")).to_contain_text("check digit are right")
    _tab_to(page, "main a[href$='/result']")
    page.keyboard.press("Enter")
    expect(page.locator(".verdict").first).to_be_visible()
    _tab_to(page, "[data-copy]")


def test_on_the_bench_by_keyboard_alone(page: Page, empty_photo: Path, brake: Brake) -> None:
    page.goto("/")
    _tab_to(page, "a[href='/bench']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench")
    _tab_to(page, "#photo")
    page.set_input_files("#photo", empty_photo)  # what chooses a file is the browser's own window
    _tab_to(page, "main form .button")
    page.keyboard.press("Enter")
    expect(page.locator("#rows tbody tr")).to_have_count(1)
    _tab_to(page, "#rows a[href$='/readings']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/readings")
    _tab_to(page, '[id="unknown.rotor_mark"]')
    page.keyboard.type(brake.rotor.marks[0])
    page.keyboard.press("Enter")
    page.wait_for_url("**/result")
    expect(page.locator("#order")).to_contain_text(brake.rotor.part)


def test_at_the_car_by_keyboard_alone(page: Page, car: tuple[str, str, str], brake: Brake) -> None:
    page.goto("/")
    _tab_to(page, "a[href='/car']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/car")
    _tab_to(page, "[name=axle]")
    page.keyboard.press("Space")
    _tab_to(page, "[name=parts]")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    _choose_by_keyboard(page, car)
    page.wait_for_url("**/looks")
    _tab_to(page, '[id="front.rotor_mark"]')
    page.keyboard.type(brake.rotor.marks[0])
    _tab_to(page, "main form .button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/result")
    expect(page.locator("#order")).to_contain_text(brake.rotor.part)


def test_everything_works_without_javascript(
    open_context: Open, begin_at_the_car: Begin, photo: Path, no_photo: Path, brake: Brake, fill: Fill
) -> None:
    page = open_context(java_script_enabled=False).new_page()
    begin_at_the_car(page)
    page.click("text=Skip to the photo")
    page.set_input_files("#photo", photo)
    page.click("text=Measure it")
    expect(page.locator(".readout.plate")).to_contain_text("Diameter")
    page.click(".steps >> text=Readings")
    fill(page, "front.thickness_mm", "2320")
    page.click("text=Show the result")
    expect(page.locator(".why-wrong", has_text="can't be right")).to_be_visible()
    fill(page, "front.thickness_mm", f"{brake.rotor.thickness_mm - 0.4:g}")
    page.click("text=Show the result")
    expect(page.locator(".verdict")).to_have_count(2)
    page.click(".steps >> text=Looks")
    fill(page, "car.vin", "1G4AH99H45G118341")
    page.click("main form >> text=Go on")
    page.get_by_role("button", name="1G4AH59H45G118341").click()
    expect(page.locator("main form")).to_contain_text("check digit are right")
    page.goto("/bench")
    page.set_input_files("#photo", [no_photo, no_photo])
    page.click("text=Measure them")
    expect(page.locator("#rows tbody tr")).to_have_count(2)


def test_an_impossible_reading_is_caught_with_what_is_plausible(
    page: Page, begin_at_the_car: Begin, fill: Fill
) -> None:
    begin_at_the_car(page)
    page.goto(page.url.replace("looks", "readings"))
    fill(page, "front.diameter_mm", "13")
    page.click("text=Show the result")
    fault = page.locator('[id="front.diameter_mm-fault"]')
    expect(fault).to_contain_text("is plausible here")
    expect(fault).to_contain_text("Is it 13 in?")
    assert page.url.endswith("/readings")
    fill(page, "front.diameter_mm", "13 in")
    page.keyboard.press("Tab")
    expect(fault).to_be_empty()


def test_inches_everywhere(page: Page, begin_at_the_car: Begin, brake: Brake, fill: Fill) -> None:
    page.goto("/")
    page.get_by_role("button", name="Change to inches").click()
    begin_at_the_car(page)
    page.goto(page.url.replace("looks", "readings"))
    fill(page, "front.diameter_mm", f"{brake.rotor.diameter_mm / 25.4:.3f}")
    page.click("text=Show the result")
    expect(page.locator(".charts")).to_contain_text(f"{brake.rotor.diameter_mm / 25.4:.3f} in")
    page.goto("/catalogue")
    page.click("main .tile >> nth=0")
    expect(page.locator(".drawings")).not_to_contain_text(" mm")


@pytest.mark.parametrize("axles", [("front",), ("front", "rear")])
def test_the_result_prints_on_one_page(
    page: Page, demo: Catalogue, car: tuple[str, str, str], brake: Brake, choose_car: Begin, axles: tuple[str, ...]
) -> None:
    page.goto("/car")
    page.check(f"[name=axle][value={'both' if len(axles) > 1 else axles[0]}]")
    page.check("[name=parts][value=both]")
    page.click("text=Go on")
    choose_car(page)
    page.wait_for_url("**/looks")
    page.goto(page.url.replace("looks", "readings"))
    page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
    for fitted in Shelf(demo).brakes_of_axle(car[0], "front") + Shelf(demo).brakes_of_axle(car[0], "rear"):
        if fitted.package == brake.package and fitted.axle in axles:
            rotor = fitted.rotor
            for key in ("diameter_mm", "height_mm", "centre_bore_mm", "bolt_circle_mm"):
                page.fill(f'[id="{fitted.axle}.{key}"]', f"{getattr(rotor, key):g}")
            page.fill(f'[id="{fitted.axle}.thickness_mm"]', f"{rotor.thickness_mm - 0.5:g}")
    page.click("text=Show the result")
    page.wait_for_url("**/result")
    for paper in ("A4", "Letter"):
        assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == 1


def test_colours_follow_the_button(page: Page) -> None:
    page.goto("/")
    for theme in ("light", "dark"):
        page.get_by_role("button", name="Colours").click()
        expect(page.locator("html")).to_have_attribute("data-theme", theme)


def _serious(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [
        f"{page.url} {finding['id']}: {node['html'][:120]}"
        for finding in found
        if finding["impact"] in SERIOUS
        for node in finding["nodes"]
    ]


def _choose_by_keyboard(page: Page, car: tuple[str, str, str]) -> None:
    """Choose line, model and year, each page by its own buttons."""
    for level, name in zip(("line", "model", "year"), car, strict=True):
        page.wait_for_url(f"**/vehicle/{level}")
        _tab_to(page, f"button[value='{name}']")
        page.keyboard.press("Enter")


def _tab_to(page: Page, selector: str, most: int = 60) -> None:
    """Press Tab until the focus stands on something that matches."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"the keyboard doesn't reach {selector}")
