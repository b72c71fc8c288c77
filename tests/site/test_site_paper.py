"""Every page type on paper, at twice the size, by keyboard alone and with motion turned down."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

pytestmark = pytest.mark.browser
PAGES = (
    "index.html", "review.html", "parts/index.html", "parts/TW-101.html", "vehicles.html", "spend.html", "flow.html", "buying.html",
    "suppliers.html", "tools.html", "measured/TW-101.html", "money/TW-101.html",
    "releases/TW-101.html", "quotes/TW-101.html", "travellers/TW-101.html", "methods/gates.html", "rules/G606.html",
    "marks.html", "guide.html",
)  # fmt: skip
SOME_QUICK = [one if at < 5 else pytest.param(one, marks=pytest.mark.slow) for at, one in enumerate(PAGES)]
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
# What must stand on paper: every head of a column and the last cell of the widest row of each table that paper shows.
WANTED = """() => Array.from(document.querySelectorAll("main table")).filter(table => table.getClientRects().length).map(table => {
    const words = node => { const copy = node.cloneNode(true); copy.querySelectorAll("svg, details, .unseen, .needs-script").forEach(it => it.remove());
        return copy.textContent.replace(/\\s+/g, " ").trim(); };
    const heads = table.tHead && table.tHead.rows.length && !table.tHead.matches(".unseen") ?
        Array.from(table.tHead.rows[table.tHead.rows.length - 1].cells).filter(cell => cell.getClientRects().length).map(words) : [];
    const rows = Array.from(table.tBodies, body => Array.from(body.rows)).flat();
    const ends = rows.map(row => row.cells[row.cells.length - 1]).filter(cell => cell && cell.getClientRects().length).map(words);
    return { caption: table.caption ? words(table.caption) : "", heads: heads, ends: ends };
})"""
# Words that are cut off, or that lie over each other, where each word must be read.
CUT = """() => Array.from(document.querySelectorAll("main th, main td, main p, main li, main h1, main h2, main h3, main dd, main dt, main button, main summary, header a"))
    .filter(it => it.getClientRects().length && !it.closest(".unseen, .area, .picture-of, svg"))
    .filter(it => !it.closest("thead") || getComputedStyle(it.closest("thead")).position !== "absolute") // spoken, not drawn
    .filter(it => { const style = getComputedStyle(it); return style.overflowX !== "auto" && it.scrollWidth > it.clientWidth + 2 && style.display !== "inline"; })
    .map(it => it.tagName + ": " + it.textContent.trim().slice(0, 60))"""
OVER = """() => { const boxes = Array.from(document.querySelectorAll("main h1, main h2, main h3, main p, main table, main figure, main form, main ul, main ol, main dl"))
    .filter(it => it.getClientRects().length && !it.closest("svg, .unseen, .skip")).map(it => [it, it.getBoundingClientRect()]).filter(pair => pair[1].height > 2 && pair[1].width > 2);
    const found = [];
    boxes.forEach(([a, one], at) => boxes.slice(at + 1).forEach(([b, other]) => {
        if (a.contains(b) || b.contains(a)) return;
        const wide = Math.min(one.right, other.right) - Math.max(one.left, other.left), high = Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top);
        if (wide > 3 && high > 3) found.push(a.tagName + " over " + b.tagName + ": " + a.textContent.trim().slice(0, 40) + " / " + b.textContent.trim().slice(0, 40)); }));
    return found; }"""

# Elements that would still be animated; smooth scrolling counts too.
MOVING = """() => Array.from(document.querySelectorAll("*")).filter(it => { const style = getComputedStyle(it);
    return style.scrollBehavior === "smooth" ||
        style.transitionDuration.split(",").concat(style.animationDuration.split(",")).some(one => parseFloat(one) > 0.01); }).length"""


def squeeze(words: str) -> str:
    """Words as they come back from paper: without spaces, hyphens of broken lines and ligatures."""
    return re.sub(r"[\s\u00ad\u200b]+", "", words.replace("ﬁ", "fi").replace("ﬂ", "fl").replace("ﬀ", "ff"))


@pytest.mark.parametrize("page", SOME_QUICK)
def test_paper_shows_every_column_to_its_last_cell(demo_site: Path, open_page: Callable[..., Any], page: str) -> None:
    """Printed to PDF on A4 with its folds closed on screen: the words are read back from the PDF by another program."""
    opened = open_page(demo_site / page).page
    opened.emulate_media(media="print")
    opened.evaluate("dispatchEvent(new Event('beforeprint'))")
    tables = opened.evaluate(WANTED)
    reader = PdfReader(io.BytesIO(opened.pdf(format="A4", prefer_css_page_size=True)))
    text = squeeze("".join(sheet.extract_text() for sheet in reader.pages))
    assert squeeze(opened.locator("main").inner_text()[:40]) in text
    for table in tables:
        for head in table["heads"]:
            assert squeeze(head) in text, (table["caption"], head)
        for end in table["ends"]:
            assert squeeze(end)[:60] in text, (table["caption"], end)
    assert tables


@pytest.mark.parametrize("page", SOME_QUICK)
def test_twice_the_size_cuts_and_covers_nothing_and_nothing_moves(
    demo_site: Path, open_page: Callable[..., Any], page: str
) -> None:
    """1280 px at 200 % leave 640; motion is turned down. Source: WCAG 2.2, 1.4.4 (resize text), 1.4.10 (reflow), 2.3.3
    (animation from interactions)."""
    opened = open_page(demo_site / page, width=640, device_scale_factor=2, reduced_motion="reduce").page
    assert opened.evaluate(MOVING) == 0
    opened.evaluate(OPEN_ALL)
    assert opened.evaluate("document.documentElement.scrollWidth") <= 640
    assert opened.evaluate(CUT) == []
    assert opened.evaluate(OVER) == []


WALKED = ("index.html", "parts/index.html", "parts/TW-101.html", "spend.html", "buying.html")


@pytest.mark.parametrize("page", WALKED)
def test_keyboard_alone_reaches_everything_and_shows_where_it_is(
    demo_site: Path, open_page: Callable[..., Any], page: str
) -> None:
    """Tab reaches every link, button, field and fold that can be seen, in the order of the page, each with a mark of
    focus, and comes out at the end. Source: WCAG 2.2, 2.1.1, 2.1.2, 2.4.3, 2.4.7."""
    opened = open_page(demo_site / page).page
    wanted = opened.evaluate(
        """() => { const all = Array.from(document.querySelectorAll("a[href], button, input, select, summary, [tabindex='0']"))
        .filter(it => !it.disabled && it.getClientRects().length)
        .filter(it => !(it.tagName === "SUMMARY" ? it.parentElement : it).parentElement.closest("details:not([open])"));
        all.forEach((it, at) => { it.dataset.walk = at; }); return all.length; }"""
    )
    seen: list[int] = []
    for _ in range(wanted + 5):
        opened.keyboard.press("Tab")
        at, marked = opened.evaluate(
            """() => { const it = document.activeElement, style = getComputedStyle(it);
            const box = it.querySelector(".box"), thick = box ? parseFloat(getComputedStyle(box).strokeWidth) : 0;
            return [Number(it.dataset.walk ?? -1), thick === 3 || (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0)]; }"""
        )
        if at < 0:
            break
        assert marked, opened.evaluate("document.activeElement.outerHTML.slice(0, 120)")
        seen.append(at)
    missed = set(range(wanted)) - set(seen)
    assert not missed, opened.evaluate(
        "ats => ats.map(at => document.querySelector(`[data-walk='${at}']`).outerHTML.slice(0, 120))",
        sorted(missed)[:5],
    )
    assert seen == sorted(seen)


def test_folds_open_and_close_by_key(demo_site: Path, open_page: Callable[..., Any]) -> None:
    opened = open_page(demo_site / "parts" / "TW-101.html").page
    summary = opened.locator("#quotes > summary")
    summary.focus()
    assert not opened.locator("#quotes table").first.is_visible()
    opened.keyboard.press("Enter")
    assert opened.locator("#quotes table").first.is_visible()
    opened.keyboard.press("Space")
    assert not opened.locator("#quotes table").first.is_visible()


READ = ("index.html", "review.html", "parts/index.html", "parts/TW-101.html", "vehicles.html", "spend.html", "suppliers.html", "releases/TW-101.html", "quotes/TW-101.html", "travellers/TW-101.html")  # fmt: skip


@pytest.mark.parametrize("page", READ)
def test_page_reads_without_a_script(demo_site: Path, open_page: Callable[..., Any], page: str) -> None:
    """With scripts off a page shows the same words as with them, and offers nothing that would do nothing."""
    plain, full = (open_page(demo_site / page, script=script).page for script in (False, True))
    for one in (plain, full):
        one.locator("main").wait_for()
    dead = plain.evaluate(
        "() => Array.from(document.querySelectorAll('button, select, input, output')).filter(it => it.checkVisibility({ visibilityProperty: true })).length"
    )
    assert dead == 0
    for form in full.locator("main form").all():
        form.evaluate("it => it.remove()")
    words = [set(one.locator("main").inner_text().split()) for one in (plain, full)]
    assert len(words[0] & words[1]) >= 0.9 * len(words[1]) - 10
