"""Drawings from outside, made harmless: an SVG keeps its shapes and loses whatever could run, load or lead away."""

from __future__ import annotations

import re
from xml.etree import ElementTree
from xml.parsers import expat

from defusedxml import ElementTree as defused

MAX_BYTES = 2_000_000
MAX_DEPTH = 100
_SVG = "http://www.w3.org/2000/svg"
_SHAPES = frozenset(
    [
        "svg",
        "g",
        "defs",
        "symbol",
        "use",
        "title",
        "desc",
        "path",
        "rect",
        "circle",
        "ellipse",
        "line",
        "polyline",
        "polygon",
        "text",
        "tspan",
        "marker",
        "pattern",
        "clipPath",
        "mask",
        "linearGradient",
        "radialGradient",
        "stop",
    ]
)
_ATTRIBUTES = frozenset(
    [
        "id",
        "class",
        "d",
        "x",
        "y",
        "x1",
        "y1",
        "x2",
        "y2",
        "cx",
        "cy",
        "r",
        "rx",
        "ry",
        "fx",
        "fy",
        "dx",
        "dy",
        "width",
        "height",
        "points",
        "transform",
        "viewBox",
        "preserveAspectRatio",
        "fill",
        "fill-opacity",
        "fill-rule",
        "stroke",
        "stroke-width",
        "stroke-linecap",
        "stroke-linejoin",
        "stroke-dasharray",
        "stroke-dashoffset",
        "stroke-miterlimit",
        "stroke-opacity",
        "opacity",
        "color",
        "font-family",
        "font-size",
        "font-style",
        "font-weight",
        "text-anchor",
        "dominant-baseline",
        "alignment-baseline",
        "letter-spacing",
        "rotate",
        "textLength",
        "offset",
        "stop-color",
        "stop-opacity",
        "gradientUnits",
        "gradientTransform",
        "spreadMethod",
        "patternUnits",
        "patternTransform",
        "patternContentUnits",
        "markerWidth",
        "markerHeight",
        "refX",
        "refY",
        "orient",
        "markerUnits",
        "marker-start",
        "marker-mid",
        "marker-end",
        "clip-path",
        "clip-rule",
        "mask",
        "maskUnits",
        "clipPathUnits",
        "visibility",
        "display",
        "overflow",
        "vector-effect",
        "paint-order",
        "role",
        "aria-label",
        "href",
    ]
)
_OWN_REFERENCE = re.compile(r"#[A-Za-z_][\w.-]*\Z")
_SAFE_VALUE = re.compile(
    r"(?:url\(\s*['\"]?#[A-Za-z_][\w.-]*['\"]?\s*\)|[^():\\]|(?:translate|rotate|scale|matrix|skewX|skewY|rgb|rgba|hsl)\([^()]*\))*\Z"
)
_SCHEME_STYLE = ":root{color:#1b2430}@media (prefers-color-scheme:dark){:root{color:#e6e9ec}}"


def clean_svg(content: bytes, follow_scheme: bool = False) -> bytes | None:
    """Return an SVG with known shapes and harmless attributes only; None where it is none, too large or malformed.

    Taken out: scripts, styles, event handlers, foreign objects, images, links, animation, every reference that leaves
    the file, entities and document types. follow_scheme : let what is drawn in the current colour follow the reader's
    light or dark scheme.
    """
    if len(content) > MAX_BYTES or b"\x00" in content or not _is_shallow(content):
        return None
    try:  # refuses a document type where the parser sees it, so in every encoding that a drawing can be written in
        root = defused.fromstring(content, forbid_dtd=True)
    except (ElementTree.ParseError, ValueError, LookupError):
        return None
    if _find_name(root.tag) != "svg":
        return None
    clean = _clean(root)
    if follow_scheme:
        style = ElementTree.Element(f"{{{_SVG}}}style")
        style.text = _SCHEME_STYLE
        clean.insert(0, style)
    _set_size(clean)
    ElementTree.register_namespace("", _SVG)
    text: str = ElementTree.tostring(clean, encoding="unicode")
    return text.encode("utf-8") + b"\n"


class _TooDeep(Exception):
    """A drawing whose groups are nested without end."""


def _is_shallow(content: bytes) -> bool:
    """True unless elements are nested too deep to be walked; what is malformed is left to the parser after this."""
    depth = 0

    def start(*_: object) -> None:
        nonlocal depth
        depth += 1
        if depth > MAX_DEPTH:
            raise _TooDeep

    def end(*_: object) -> None:
        nonlocal depth
        depth -= 1

    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = start, end
    try:
        parser.Parse(content, True)
    except _TooDeep:
        return False
    except (expat.ExpatError, ValueError, LookupError):
        return True
    return True


def _find_name(tag: object) -> str:
    """Return the name of an SVG element; empty for anything else."""
    if not isinstance(tag, str):
        return ""
    space, _, name = tag.rpartition("}")
    return name if space in ("", "{" + _SVG) else ""


def _clean(element: ElementTree.Element) -> ElementTree.Element:
    name = _find_name(element.tag)
    clean = ElementTree.Element(f"{{{_SVG}}}{name}")
    for key, value in element.attrib.items():
        short = key.rpartition("}")[2]
        if short not in _ATTRIBUTES or (not _SAFE_VALUE.match(value) and short not in ("aria-label", "d", "points")):
            continue
        if short == "href" and not _OWN_REFERENCE.match(value):
            continue
        clean.set(short, value)
    clean.text, clean.tail = element.text, element.tail
    for child in element:
        if _find_name(child.tag) in _SHAPES:
            clean.append(_clean(child))
        elif child.tail and len(clean):
            clean[-1].tail = (clean[-1].tail or "") + child.tail
    return clean


def _set_size(root: ElementTree.Element) -> None:
    """Give the drawing a size of its own, so that a page keeps room for it."""
    box = root.get("viewBox", "").replace(",", " ").split()
    if len(box) == 4 and "width" not in root.attrib:
        root.set("width", box[2])
        root.set("height", box[3])
