"""The drawing of a head: every position in its place, told by words and shapes."""

from xml.etree import ElementTree as ET

from tests.shop_files import positions

from spinproof.figures.head_drawing import PositionCell, head_drawing, severity_mark
from spinproof.model.part import Belongs, Severity

SVG = "{http://www.w3.org/2000/svg}"
HEAD = tuple(
    PositionCell(place.code, place.name, place.row, place.column, "not recorded")
    for place in positions().of(Belongs.HEAD)
)


def drawn(*cells: PositionCell) -> ET.Element:
    return ET.fromstring(head_drawing("head QM-207-L", cells))  # noqa: S314 - our own text


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def test_every_position_of_the_shop_is_drawn_once_and_none_covers_another():
    root = drawn(*HEAD)
    boxes = [
        tuple(float(group.find(f"{SVG}rect").get(key)) for key in ("x", "y", "width", "height"))
        for group in root.findall(f"{SVG}g")
    ]
    width, height = (float(root.get(key)) for key in ("width", "height"))

    for place in HEAD:
        assert texts(root).count(place.code) == 1
    assert len(boxes) == len(HEAD)
    for i, (x, y, w, h) in enumerate(boxes):
        assert x >= 0
        assert x + w <= width
        assert y + h <= height
        for ox, oy, ow, oh in boxes[i + 1 :]:
            assert x + w <= ox or ox + ow <= x or y + h <= oy or oy + oh <= y


def test_the_same_values_give_the_same_bytes_in_any_order():
    assert head_drawing("head", HEAD) == head_drawing("head", HEAD[::-1])


def test_a_cell_says_what_sits_there_and_leads_to_its_page():
    cell = PositionCell(
        "DSL", "door seal", 3, 1, "replaced with new", tag="QM207LDSL01X", href="/positions/x/DSL"
    )
    root = drawn(cell)
    link = root.find(f"{SVG}a")

    assert link.get("href") == "/positions/x/DSL"
    assert link.find(f"{SVG}title").text == "DSL, door seal: replaced with new, QM207LDSL01X"
    assert {"DSL", "door seal", "QM207LDSL01X", "replaced with new"} <= set(texts(root))


def test_a_refused_position_is_told_by_word_dash_and_hatch_not_by_grey_alone():
    plain = PositionCell("WIN", "window", 2, 1, "kept", tag="QM207LWIN01A")
    refused = PositionCell("WIN", "window", 2, 1, "kept", tag="QM207LWIN01A", refused="declined")
    link = drawn(refused).find(f"{SVG}g")

    assert "declined" in texts(drawn(refused))
    assert link.find(f"{SVG}rect").get("stroke-dasharray")
    assert len(link.findall(f"{SVG}line")) == 4
    assert not drawn(plain).find(f"{SVG}g").findall(f"{SVG}line")


def test_each_severity_has_a_shape_and_a_letter_of_its_own():
    cell = PositionCell(
        "RTR", "rotor", 3, 3, "kept", findings=(Severity.COSMETIC, Severity.SAFETY, Severity.SAFETY)
    )
    group = drawn(cell).find(f"{SVG}g")
    shapes = {
        severity: severity_mark(severity).partition("</title>")[2].split(" ")[0]
        + str(severity_mark(severity).count(","))
        for severity in Severity
    }

    assert "2 open safety findings, 1 open cosmetic finding" in group.find(f"{SVG}title").text
    assert "2×" in [t.text for t in group.iter(f"{SVG}text")]
    assert len(set(shapes.values())) == len(Severity)
    assert "Open findings:" in texts(drawn(cell))


def test_texts_of_people_are_escaped():
    root = drawn(PositionCell("RTR", 'a <b> & "c"', 1, 1, "kept"))

    assert 'a <b> & "c"' in texts(root)


def test_a_drawing_without_positions_is_a_drawing_still():
    assert drawn().tag == f"{SVG}svg"
