"""The renderer's SVG made ours: light, in the page's own colours, with a title, and without inline style."""

from __future__ import annotations

import hashlib
import re
from functools import lru_cache
from html import escape

# Colours are placeholders while matplotlib draws; the finished SVG names the page's custom property, with a fallback
# for a file that is opened alone. A placeholder is never shown.
COLOURS = {
    "ink": ("#010101", "#1b2430"),
    "soft": ("#010102", "#566070"),
    "line": ("#010103", "#a4adb7"),
    "hair": ("#010104", "#dadee0"),
    "tone": ("#010105", "#34617f"),
    "tone-soft": ("#010106", "#c4d6e2"),
    "flag": ("#010107", "#a83f17"),
    "flag-soft": ("#010108", "#f6e3d9"),
    "paper": ("#010109", "#fbfaf6"),
}
_FONT = "system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif"
_WEIGHT = 650
_QUIET = {
    ("stroke-linejoin", "miter"),
    ("stroke-linejoin", "round"),
    ("stroke-opacity", "1"),
    ("font-size", "12px"),
    ("text-anchor", "start"),
}
_ALIKE = re.compile(r'<path d="M[^"]*"((?![^>]*opacity)[^>]*)/>(?:<path d="M[^"]*"\1/>)+')
_PATH = re.compile(r'<path d="([^"]*)"')
_POINT = re.compile(r"[ML](-?[\d.]+(?:e-?\d+)?) (-?[\d.]+(?:e-?\d+)?)")
_OTHER_STEPS = re.compile(r"[A-KN-Y]")
_TAG = re.compile(r"<[^>]+>")
_PLAIN = re.compile(r'<(path|text)(?: d="([^"]*)")? style="([^"]*)"([^>]*?)(/?)>')


def clean_text(text: str) -> str:
    """One line of text that XML can hold: line breaks become blanks, characters that XML forbids a replacement mark."""
    flat = " ".join(text.split())
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in flat)


def tidy_svg(svg: str, width: float, height: float, title: str, words: str) -> str:
    """Return the finished figure: the same bytes for the same drawing, title and description."""
    key = "c" + hashlib.sha256(f"{svg}\0{title}\0{words}".encode()).hexdigest()[:10]
    inner = svg[svg.index("</defs>") + len("</defs>") : svg.rindex("</svg>")]
    inner = _TAG.sub(lambda tag: _tidy_tag(tag.group(0), key), inner)
    inner = join_alike(re.sub(r">\s+<", "><", inner).strip())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-labelledby="{key}t {key}d" font-family="{_FONT}" font-size="12" stroke-linejoin="miter">'
        f'<title id="{key}t">{escape(clean_text(title))}</title><desc id="{key}d">{escape(clean_text(words))}</desc>'
        f"{inner}</svg>\n"
    )


def join_alike(svg: str) -> str:
    """Write shapes of one kind that follow each other as one: the same picture in fewer letters.

    Shapes that are see-through stay apart, for they darken where they cross; filled ones that overlap, too, for one
    could cut a hole into the other.

    >>> join_alike('<path d="M0 1L2 1" fill="none" stroke="a"/><path d="M0 3L2 3" fill="none" stroke="a"/>')
    '<path d="M0 1L2 1M0 3L2 3" fill="none" stroke="a"/>'
    >>> bars = '<path d="M0 0L2 0L2 9Z" fill="a"/><path d="M2 0L4 0L4 9Z" fill="a"/><path d="M3 0L5 0L5 9Z" fill="a"/>'
    >>> join_alike(bars)
    '<path d="M0 0L2 0L2 9ZM2 0L4 0L4 9Z" fill="a"/><path d="M3 0L5 0L5 9Z" fill="a"/>'
    """
    return _ALIKE.sub(lambda run: _join(_PATH.findall(run[0]), run[1]), svg)


def _join(paths: list[str], style: str) -> str:
    """Return paths of one style as few as can be."""
    groups: list[tuple[list[str], list[_Box]]] = []
    for path in paths:
        box = None if ' fill="none"' in style else _find_box(path)
        if groups and (
            ' fill="none"' in style or (box is not None and not any(_overlap(box, b) for b in groups[-1][1]))
        ):
            groups[-1][0].append(path)
        else:
            groups.append(([path], []))
        groups[-1][1].append(box or _EVERYWHERE)
    return "".join(f'<path d="{"".join(group)}"{style}/>' for group, _ in groups)


_Box = tuple[float, float, float, float]
_EVERYWHERE: _Box = (float("-inf"), float("-inf"), float("inf"), float("inf"))


def _find_box(path: str) -> _Box:
    """Return left, top, right and bottom of a path of straight lines; of another one, that it could be anywhere."""
    points = [(float(x), float(y)) for x, y in _POINT.findall(path)]
    if _OTHER_STEPS.search(path) or not points:
        return _EVERYWHERE
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def _overlap(one: _Box, other: _Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _tidy_tag(tag: str, key: str) -> str:
    """Tidy one tag. Only tags are touched: a text may hold what looks like an attribute."""
    if tag.startswith("</"):
        return tag
    plain = _PLAIN.fullmatch(tag)
    if plain is None:
        return _name_pattern(_colour(tag), key)
    name, path, style, rest, end = plain.groups()
    shape = "" if path is None else f' d="{_shorten_path(path)}"'
    if rest:
        rest = re.sub(r' transform="rotate\(-?0 [^"]*\)"', "", rest)
        rest = re.sub(r' ([xy])="(-?[\d.]+)"', lambda at: f' {at[1]}="{_shorten_number(at[2])}"', rest)
    return f"<{name}{shape} {_name_pattern(_style_attributes(style), key)}{rest}{end}>"


def _name_pattern(tag: str, key: str) -> str:
    """Make the name of a hatching the figure's own: a page holds many figures."""
    if "url(#" in tag:
        return tag.replace("url(#", f"url(#{key}")
    return tag.replace(' id="', f' id="{key}') if tag.startswith("<pattern ") else tag


def _colour(text: str) -> str:
    for name, (placeholder, fallback) in COLOURS.items():
        text = text.replace(placeholder, f"var(--{name}, {fallback})")
    return text


@lru_cache(maxsize=4096)
def _style_attributes(style: str) -> str:
    """Turn a style into presentation attributes, for a strict content policy forbids inline style. Drop defaults."""
    kept = []
    for name, value in (
        (name.strip(), value.strip()) for name, _, value in (it.partition(":") for it in style.split(";"))
    ):
        if name == "font-weight":
            kept.append(f'font-weight="{_WEIGHT}"')
        elif name and name != "font-family" and (name, value) not in _QUIET:
            kept.append(f'{name}="{value.removesuffix("px")}"')
    return _colour(" ".join(kept))


def _shorten_path(path: str) -> str:
    """Write a path without line breaks, to a tenth of a unit: nobody sees more, and the page stays light.

    >>> _shorten_path("M 0.04 1.26 L 10 -2.51 z ")
    'M0 1.3L10 -2.5Z'
    """
    words = []
    for word in path.split():
        words.append(word.upper() if word.isalpha() else _shorten_number(word))
    return re.sub(r" ?([A-Z]) ?", r"\1", " ".join(words))


@lru_cache(maxsize=65536)
def _shorten_number(word: str) -> str:
    return f"{round(float(word), 1):g}"
