"""SVG drawings are well-formed XML, whatever the text in them."""

from xml.etree.ElementTree import fromstring

from hypothesis import given
from hypothesis import strategies as st

from benchflow.base.svg import NAMESPACE, Svg


def test_drawing_has_a_size_a_title_and_its_elements_in_order() -> None:
    svg = Svg(100, 50.5, "A <title> & more")
    svg.text(1, 2.25, "words", font_size=12, text_anchor="end")
    marker = svg.group("shown on hover")
    svg.add("circle", marker, cx=3, cy=4, r=3.5)
    svg.polyline([(0, 0), (1.5, 2)], stroke="#555")
    root = fromstring(str(svg))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("100", "50.5", "0 0 100 50.5")
    assert root.findtext(f"{{{NAMESPACE}}}title") == root.get("aria-label") == "A <title> & more"
    assert [each.tag.removeprefix(f"{{{NAMESPACE}}}") for each in root] == ["title", "rect", "text", "g", "polyline"]
    assert root[2].attrib == {"x": "1", "y": "2.25", "font-size": "12", "text-anchor": "end"}
    assert root[2].text == "words"
    assert [each.text for each in root[3]] == ["shown on hover", None]
    assert root[4].get("points") == "0,0 1.5,2"


@given(st.text(alphabet=st.characters(), max_size=60))
def test_any_text_gives_well_formed_xml(words: str) -> None:
    svg = Svg(10, 10, words)
    svg.text(0, 0, words)
    svg.group(words)
    assert fromstring(str(svg)).tag == f"{{{NAMESPACE}}}svg"
