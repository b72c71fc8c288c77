"""Drawings that leave the house: the shapes that are seen, without titles, names, notes and what is hidden in them."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree

from pipeline.sitegen.svg_cleaning import clean_svg

_SPACE = "{http://www.w3.org/2000/svg}"
_UNSEEN = frozenset({"title", "desc"})
_WORDS = frozenset({"text", "tspan"})
_REMARKS = ("class", "role", "aria-label")
_STORES = frozenset({"defs", "symbol", "marker", "pattern", "clipPath", "mask", "linearGradient", "radialGradient"})


@dataclass(frozen=True, slots=True)
class StrippedDrawing:
    """A drawing without anything that is not seen: its bytes and its size in pixels."""

    content: bytes
    width: int
    height: int


def strip_svg(content: bytes, keep_words: bool) -> StrippedDrawing | None:
    """Return a drawing with nothing but what is seen; None where it cannot be read, is too large or has no size.

    Besides what `clean_svg` takes out: titles and descriptions, classes and labels, hidden shapes, shapes in store that
    nothing shows; ids get new names. keep_words : leave the words that are drawn.
    """
    clean = clean_svg(content, follow_scheme=True)
    if clean is None:
        return None
    root = ElementTree.fromstring(clean)
    _prune(root, keep_words)
    _forget_unused(root)
    _rename_ids(root)
    size = _find_size(root)
    if size is None:
        return None
    ElementTree.register_namespace("", _SPACE.strip("{}"))
    text: str = ElementTree.tostring(root, encoding="unicode")
    return StrippedDrawing(text.encode("utf-8") + b"\n", *size)


def _prune(element: ElementTree.Element, keep_words: bool) -> None:
    for remark in _REMARKS:
        element.attrib.pop(remark, None)
    is_text = element.tag.removeprefix(_SPACE) in _WORDS
    if not is_text and element.tag != _SPACE + "style":
        element.text = None  # words between shapes are not drawn
    for child in list(element):
        if not is_text:
            child.tail = None
        name = child.tag.removeprefix(_SPACE)
        if name in _UNSEEN or (name in _WORDS and not keep_words) or _is_hidden(child):
            if child.tail:
                _add_tail(element, child)
            element.remove(child)
        else:
            _prune(child, keep_words)


def _add_tail(parent: ElementTree.Element, child: ElementTree.Element) -> None:
    """Keep the drawn words behind a piece that goes."""
    at = list(parent).index(child)
    if at:
        parent[at - 1].tail = (parent[at - 1].tail or "") + (child.tail or "")
    else:
        parent.text = (parent.text or "") + (child.tail or "")


def _is_hidden(element: ElementTree.Element) -> bool:
    if element.get("display", "").strip() == "none":
        return True
    if element.get("visibility", "").strip() in ("hidden", "collapse"):
        return True
    try:
        return float(element.get("opacity", "1").strip().removesuffix("%")) <= 0
    except ValueError:
        return False


def _find_references(root: ElementTree.Element) -> set[str]:
    found = set()
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == "href" and value.startswith("#"):
                found.add(value[1:])
            elif "url(" in value:
                found.add(value.partition("#")[2].rstrip(" '\")"))
    return found


def _forget_unused(root: ElementTree.Element) -> None:
    """Take out what lies in store and nothing shows, until nothing more goes."""
    while True:
        used, gone = _find_references(root), 0
        for parent in list(root.iter()):
            is_store = parent.tag == _SPACE + "defs"
            for child in list(parent):
                name = child.tag.removeprefix(_SPACE)
                lies = is_store or (name in _STORES and name != "defs")
                if lies and not {one.get("id") for one in child.iter()} & used:
                    parent.remove(child)
                    gone += 1
        if not gone:
            return


def _rename_ids(root: ElementTree.Element) -> None:
    """Give the ids that something points at new names, and take the others off."""
    used = sorted(_find_references(root))
    names = {old: f"d{at}" for at, old in enumerate(used, 1)}
    for element in root.iter():
        for key, value in list(element.attrib.items()):
            if key == "id":
                if value in names:
                    element.set(key, names[value])
                else:
                    del element.attrib[key]
            elif key == "href" and value.startswith("#"):
                element.set(key, "#" + names[value[1:]])
            elif "url(" in value:
                element.set(key, f"url(#{names[value.partition('#')[2].rstrip(chr(32) + chr(39) + chr(34) + ')')]})")


def _find_size(root: ElementTree.Element) -> tuple[int, int] | None:
    box = root.get("viewBox", "").replace(",", " ").split()
    texts = box[2:] if len(box) == 4 else [root.get(key, "").removesuffix("px") for key in ("width", "height")]
    try:
        width, height = (round(float(text)) for text in texts)
    except (ValueError, OverflowError):
        return None
    return (width, height) if 0 < width <= 100_000 and 0 < height <= 100_000 else None
