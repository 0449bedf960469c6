"""Builds an SVG drawing on ``xml.etree``. The result is self-contained: no external fonts, styles or images.

Lengths and coordinates are SVG user units (pixels at 96 dpi), x to the right and y down. Text is cleaned of control
characters and escaped.
"""

from collections.abc import Iterable
from xml.etree.ElementTree import Element, SubElement, tostring

from benchflow.base.plaintext import clean_line

NAMESPACE = "http://www.w3.org/2000/svg"


class Svg:
    """A drawing of ``width`` by ``height`` on a white page. ``label`` is its title, also for screen readers."""

    def __init__(self, width: float, height: float, label: str) -> None:
        name = clean_line(label)
        self._root = Element("svg", {"xmlns": NAMESPACE, "role": "img", "aria-label": name})
        _set(self._root, {"width": width, "height": height, "viewBox": f"0 0 {width:g} {height:g}"})
        self._root.set("font-family", "sans-serif")
        SubElement(self._root, "title").text = name
        self.add("rect", width=width, height=height, fill="#fff")

    def add(self, tag: str, parent: Element | None = None, /, **attributes: float | str) -> Element:
        """Add an element at the end of ``parent`` (the drawing by default). Underscores in attributes become dashes."""
        element = SubElement(self._root if parent is None else parent, tag)
        _set(element, attributes)
        return element

    def text(
        self, x: float, y: float, content: str, parent: Element | None = None, /, **attributes: float | str
    ) -> Element:
        """Add one line of text; ``y`` is its base line."""
        element = self.add("text", parent, x=x, y=y, **attributes)
        element.text = clean_line(content)
        return element

    def polyline(self, points: Iterable[tuple[float, float]], **attributes: float | str) -> Element:
        """Add a line through ``points``, not filled."""
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        return self.add("polyline", points=path, fill="none", **attributes)

    def group(self, tooltip: str = "", **attributes: float | str) -> Element:
        """Add a group, to which other elements can be added. A viewer shows ``tooltip`` when the pointer is over it."""
        element = self.add("g", **attributes)
        if tooltip:
            SubElement(element, "title").text = clean_line(tooltip)
        return element

    def __str__(self) -> str:
        """The drawing as the text of an SVG file, without an XML declaration, so that HTML can contain it."""
        return tostring(self._root, encoding="unicode")


def _set(element: Element, attributes: dict[str, float | str]) -> None:
    for name, value in attributes.items():
        element.set(name.replace("_", "-"), value if isinstance(value, str) else f"{value:g}")
