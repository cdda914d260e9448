"""Reload, the back button and a broken connection: whatever was entered is still there."""

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, expect

Fill = Callable[[Page, str, str], None]
Begin = Callable[[Page], None]
# A page is interactive before its modules run; nobody chooses anew after a reload.
CHOOSES_A_CARD_EARLY = """
document.addEventListener("readystatechange", () => {
  const reference = document.getElementById("reference");
  const again = performance.getEntriesByType("navigation")[0].type === "reload";
  if (document.readyState === "interactive" && reference && !again) reference.value = "card";
});
"""


def test_reload_keeps_what_was_typed_and_not_sent(page: Page, begin_at_the_car: Begin, fill: Fill) -> None:
    begin_at_the_car(page)
    fill(page, "car.wheel_in", "18")
    page.check('[name="front.surface"][value=slotted]')
    page.reload()
    expect(page.locator('[id="car.wheel_in"]')).to_have_value("18")
    expect(page.locator('[name="front.surface"][value=slotted]')).to_be_checked()


def test_what_was_chosen_before_the_script_came_is_kept(page: Page, begin_at_the_car: Begin) -> None:
    begin_at_the_car(page)
    page.add_init_script(CHOOSES_A_CARD_EARLY)
    page.click("text=Skip to the photo")
    expect(page.locator("#reference")).to_have_value("card")
    expect(page.locator("html")).to_have_attribute("data-script", "on")
    page.reload()
    expect(page.locator("#reference")).to_have_value("card")


def test_back_shows_every_answer(page: Page, begin_at_the_car: Begin, fill: Fill) -> None:
    begin_at_the_car(page)
    fill(page, "car.wheel_in", "18")
    page.click("text=Go on")
    page.click("text=Go on without a photo")
    fill(page, "front.thickness_mm", "23.2")
    page.select_option('[id="front.thickness_mm:tool"]', "caliper")
    page.click("text=Show the result")
    page.wait_for_url("**/result")
    page.go_back()
    expect(page.locator('[id="front.thickness_mm"]')).to_have_value("23.2")
    expect(page.locator('[id="front.thickness_mm:tool"]')).to_have_value("caliper")
    page.go_back()
    page.go_back()
    expect(page.locator('[id="car.wheel_in"]')).to_have_value("18")
    page.reload()
    expect(page.locator('[id="car.wheel_in"]')).to_have_value("18")


def test_reload_keeps_the_photo_that_was_chosen(page: Page, begin_at_the_car: Begin, no_photo: Path) -> None:
    begin_at_the_car(page)
    page.click("text=Skip to the photo")
    page.set_input_files("#photo", no_photo)
    page.select_option("#reference", "card")
    page.wait_for_selector("#photo[data-held]")
    page.reload()
    page.wait_for_selector("#photo[data-held]")
    assert page.evaluate("document.getElementById('photo').files[0].name") == no_photo.name
    expect(page.locator("#reference")).to_have_value("card")
    page.click("text=Measure it")
    page.wait_for_url("**/photos/*")
    page.go_back()
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.getElementById('photo').files.length") == 0


def test_the_first_page_leads_back_to_the_job(page: Page, begin_at_the_car: Begin) -> None:
    begin_at_the_car(page)
    job = page.url
    page.goto("/")
    page.click("text=Go on with the job")
    assert page.url == job


def test_changing_the_unit_keeps_a_half_filled_form(page: Page, begin_at_the_car: Begin, fill: Fill) -> None:
    begin_at_the_car(page)
    page.goto(page.url.replace("looks", "readings"))
    fill(page, "front.diameter_mm", "330")
    page.get_by_role("button", name="Change to inches").click()
    expect(page.locator('[id="front.diameter_mm"]')).to_have_value("330")
    expect(page.locator('[name="front.diameter_mm:unit"]')).to_have_value("mm")


def test_a_lost_connection_keeps_a_form_that_was_sent(
    open_context: Callable[..., BrowserContext], begin_at_the_car: Begin, fill: Fill
) -> None:
    context = open_context()
    page = context.new_page()
    begin_at_the_car(page)
    looks = page.url
    fill(page, "car.wheel_in", "18")
    page.check('[name="front.surface"][value=slotted]')
    context.set_offline(True)
    page.click("text=Go on")
    page.wait_for_url("chrome-error://**")
    context.set_offline(False)
    page.goto(looks)
    expect(page.locator('[id="car.wheel_in"]')).to_have_value("18")
    expect(page.locator('[name="front.surface"][value=slotted]')).to_be_checked()
    page.click("text=Go on")
    page.wait_for_url("**/photo")
    page.goto(looks)
    expect(page.locator('[id="car.wheel_in"]')).to_have_value("18")
    assert page.evaluate("sessionStorage.length") == 0


def test_a_lost_connection_keeps_the_photo_and_the_form(
    open_context: Callable[..., BrowserContext], begin_at_the_car: Begin, photo: Path
) -> None:
    context = open_context()
    page = context.new_page()
    begin_at_the_car(page)
    page.click("text=Skip to the photo")
    page.set_input_files("#photo", photo)
    page.select_option("#reference", "card")
    context.set_offline(True)
    page.click("text=Measure it")
    expect(page.get_by_role("alert")).to_contain_text("connection was lost")
    assert page.evaluate("document.getElementById('photo').files.length") == 1
    expect(page.locator("#reference")).to_have_value("card")
    context.set_offline(False)
    page.select_option("#reference", "auto")
    page.click("text=Measure it")
    page.wait_for_url("**/photos/*")
    page.reload()
    expect(page.locator("#fit image")).to_have_count(1)
