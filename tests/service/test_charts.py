"""Pictures from numbers: true to scale, and nothing outside the frame."""

from xml.etree import ElementTree as Svg

import pytest

from service.charts import ReadingChart, RotorFigures, Span, reading_chart, rotor_drawing


def _show(length_mm: float) -> str:
    return f"{length_mm:g} mm"


def _shapes(markup: str, kind: str) -> list[dict[str, str]]:
    return [shape.attrib for shape in Svg.fromstring(markup).iter() if shape.get("class") == kind]


def test_a_reading_worn_below_new_stands_between_the_worn_end_and_the_new_part() -> None:
    span = Span("Sport", 23.8, 24.2, worn_to_mm=22.0, probability=0.7)
    svg = reading_chart(ReadingChart("Thickness", 23.0, 22.8, 23.2, [span]), _show)
    value = float(_shapes(svg, "value")[0]["x1"])
    new, worn = _shapes(svg, "new")[0], _shapes(svg, "worn")[0]
    assert float(worn["x"]) < value < float(new["x"])
    assert float(worn["x"]) + float(worn["width"]) == pytest.approx(float(new["x"]), abs=0.02)


def test_equal_steps_in_mm_are_equal_steps_on_the_chart() -> None:
    spans = [Span(str(mm), mm - 0.5, mm + 0.5) for mm in (320, 330, 340)]
    svg = reading_chart(ReadingChart("Diameter", 330, 329, 331, spans), _show)
    left = [float(bar["x"]) for bar in _shapes(svg, "new")]
    assert left[1] - left[0] == pytest.approx(left[2] - left[1], abs=0.02)


@pytest.mark.parametrize("value_mm", [20.0, 330.0, 900.0])
def test_a_reading_far_from_every_candidate_is_still_inside_the_frame(value_mm: float) -> None:
    chart = ReadingChart("Diameter", value_mm, value_mm - 1, value_mm + 1, [Span("A", 329, 331)])
    width = float(Svg.fromstring(reading_chart(chart, _show)).attrib["viewBox"].split()[2])
    for shape in [*_shapes(reading_chart(chart, _show), "reading"), *_shapes(reading_chart(chart, _show), "new")]:
        assert float(shape["x"]) >= 0
        assert float(shape["x"]) + float(shape["width"]) <= width


def test_a_name_cannot_smuggle_markup_in() -> None:
    svg = reading_chart(ReadingChart("<b>", 1, 0, 2, [Span("<script>", 0, 2)]), _show)
    assert "<script>" not in svg
    assert "&lt;script&gt;" in svg


def test_a_rotor_is_drawn_in_millimetres() -> None:
    figures = RotorFigures(330.0, 24.0, height_mm=50.0, centre_bore_mm=64.0, bolt_count=5, bolt_circle_mm=112.0)
    svg = rotor_drawing(figures, largest_mm=400.0, title="A rotor")
    ring = _shapes(svg, "ring")
    assert float(ring[0]["r"]) == 165.0
    assert float(ring[1]["height"]) == 24.0
    holes = _shapes(svg, "hole")
    assert float(holes[0]["r"]) == 32.0
    for hole in holes[1:]:
        assert (float(hole["cx"]) ** 2 + float(hole["cy"]) ** 2) ** 0.5 == pytest.approx(56.0, abs=0.01)
    assert len(holes) == 6


def test_what_is_not_known_is_not_drawn() -> None:
    svg = rotor_drawing(RotorFigures(330.0, 24.0), largest_mm=330.0, title="A rotor")
    assert _shapes(svg, "hole") == []
    assert _shapes(svg, "rivet") == []


@pytest.mark.parametrize(
    ("surface", "kind"), [("drilled", "drilled"), ("dimpled+slotted", "dimpled"), ("slotted", "slot")]
)
def test_each_surface_has_its_sign(surface: str, kind: str) -> None:
    svg = rotor_drawing(RotorFigures(330.0, 24.0, surface=surface), largest_mm=330.0, title="A rotor")
    assert _shapes(svg, kind)
