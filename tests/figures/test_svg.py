"""SVG text: always well-formed, always the same, nothing gets out of its place."""

from xml.etree import ElementTree as ET

from hypothesis import example, given
from hypothesis import strategies as st

from spinproof.figures.svg import drawing, element, label, number

SVG = "{http://www.w3.org/2000/svg}"


@given(st.text())
@example("</text><script>alert(1)</script>")
@example('" onload="x')
@example("\x00\x0b\ud800]]>&amp;")
def test_any_text_stays_text(text):
    figure = ET.fromstring(drawing(10, 10, text, [label(1, 2, text)]))  # noqa: S314 - our own text

    assert [child.tag for child in figure.iter()] == [
        f"{SVG}svg",
        f"{SVG}title",
        f"{SVG}rect",
        f"{SVG}text",
    ]


@given(st.text())
def test_any_attribute_stays_one_attribute(text):
    parsed = ET.fromstring(element("g", data_note=text))  # noqa: S314 - our own text

    assert list(parsed.attrib) == ["data-note"]


@given(st.floats(-1e5, 1e5))
def test_a_number_has_one_decimal_at_most_and_no_negative_zero(value):
    text = number(value)

    assert abs(float(text) - value) <= 0.05 + 1e-9
    assert text != "-0"
    assert len(text.partition(".")[2]) <= 1


def test_a_figure_carries_its_text_alternative():
    figure = ET.fromstring(drawing(10, 10, "what it shows", []))  # noqa: S314 - our own text

    assert figure.get("role") == "img"
    assert figure.findtext(f"{SVG}title") == "what it shows"
