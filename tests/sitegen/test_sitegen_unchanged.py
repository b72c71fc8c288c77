"""A build that would make the very same site does nothing; whatever could change a page makes it build."""

from __future__ import annotations

import dataclasses
import datetime as dt
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample
from pipeline.portfolio.build_cache import PLACE
from pipeline.sitegen.build import BuiltSite, SiteNotBuilt, build_site
from pipeline.sitegen.unchanged import SiteMemory, is_closed

SOURCE = Path(__file__).parents[2]
DAY = dt.date(2026, 11, 26)
CONFIG = """\
site_name: Sample
docs_dir: pages
site_dir: ../build/site
theme: {name: pipeline}
plugins: [pipeline]
nav: [{Notes: notes.md}]
"""
NOTES = "# Notes\n\nSee [all parts](parts/index.html).\n"
RECORD = "projects/SD-100/part.yaml"
GIT = {"PATH": os.environ["PATH"], "GIT_AUTHOR_NAME": "Ann", "GIT_AUTHOR_EMAIL": "ann@example.invalid",
       "GIT_COMMITTER_NAME": "Ann", "GIT_COMMITTER_EMAIL": "ann@example.invalid",
       "GIT_CONFIG_GLOBAL": os.devnull}  # fmt: skip


def git(root: Path, *arguments: str) -> None:
    """Run git in a workspace."""
    subprocess.run(["git", *arguments], cwd=root, check=True, capture_output=True, env=GIT)


def commit(root: Path) -> None:
    """Commit all there is, if only the time."""
    git(root, "add", "-A")
    git(root, "commit", "-q", "--allow-empty", "-m", "as it stands")


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, BuiltSite]:
    """A workspace in git with a warning and findings, and its site."""
    root = tmp_path_factory.mktemp("unchanged") / "workspace"
    files = {"site/mkdocs.yml": CONFIG, "site/pages/notes.md": NOTES, "projects/SD-999/part.yaml": "part: [\n"}
    for path, content in build_sample(Example("", files)).items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(content)
    (root / ".gitignore").write_text("/build/\n/.pipeline/\n", "utf-8")
    git(root, "init", "-q")
    commit(root)
    return root, build_site(root, today=DAY)


def recall(root: Path, today: dt.date | None = DAY, edition: str = "internal") -> BuiltSite | None:
    """Return the site if there is nothing to build."""
    return SiteMemory(root, root / "build" / "site", today, edition).recall()


def test_a_second_build_does_nothing_and_tells_the_same(
    first: tuple[Path, BuiltSite], monkeypatch: pytest.MonkeyPatch
) -> None:
    root, built = first

    def refuse(*_: object) -> None:
        raise AssertionError("nothing has changed, and yet it builds")

    before = {path: path.stat().st_mtime_ns for path in built.out.rglob("*")}
    monkeypatch.setattr("pipeline.sitegen.build._build_into", refuse)
    again = build_site(root, today=DAY)
    assert again == dataclasses.replace(built, drawn=0, stands=True)
    assert again.warnings and "SD-999" in again.warnings[0] and again.findings, "what was told is told again"
    assert {path: path.stat().st_mtime_ns for path in built.out.rglob("*")} == before


def test_nothing_heavy_is_loaded_for_it(first: tuple[Path, BuiltSite]) -> None:
    root, _ = first
    code = (
        "import sys\nfrom pipeline.cli.build_command import command\n"
        f"command(['-w', {str(root)!r}, '--on', '2026-11-26'], standalone_mode=False)\n"
        "print(sorted({name.partition('.')[0] for name in sys.modules} & "
        "{'mkdocs', 'numpy', 'jinja2', 'pydantic', 'scipy', 'matplotlib'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "[]"
    assert (
        done.stdout.startswith("Nothing has changed, the site stands: ")
        and "pages, 1 part." in done.stdout
        and "SD-999" in done.stderr
    )


# --- whatever could change a page ----------------------------------------------------------------------------

Edit = Callable[[Path], object]


def add(path: str, text: str) -> Edit:
    """Return an edit that adds a text to a file, which may be a new one."""

    def edit(root: Path) -> None:
        file = root / path
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("a", encoding="utf-8") as stream:
            stream.write(text)

    return edit


def swap_letters(root: Path) -> None:
    """Change a file of the site without changing its size or its time."""
    page = root / "build/site/parts/index.html"
    times = page.stat()
    page.write_text(page.read_text("utf-8").replace("Parts", "Prats", 1), "utf-8")
    os.utime(page, ns=(times.st_atime_ns, times.st_mtime_ns))


CHANGES: dict[str, Edit] = {
    "a comment in a record": add(RECORD, "# looked at again\n"),
    "a catalogue": add("shared/shop.yaml", "# a word\n"),
    "a hand-written page": add("site/pages/notes.md", "\nAnd more.\n"),
    "a new page": add("site/pages/more.md", "# More\n"),
    "the settings of the site": lambda root: (root / "site/mkdocs.yml").write_text(CONFIG + "copyright: us\n", "utf-8"),
    "a file of no use": add("projects/SD-100/evidence/left-over.txt", "x"),
    "an empty folder": lambda root: (root / "projects/SD-101").mkdir(),
    "a folder renamed": lambda root: (root / "projects/SD-999").rename(root / "projects/SD-998"),
    "a record gone": lambda root: (root / RECORD).unlink(),
    "a commit": commit,
    "another branch": lambda root: git(root, "switch", "-q", "-c", "aside"),
    "no branch": lambda root: git(root, "switch", "-q", "--detach"),
    "no git": lambda root: (root / ".git").rename(root / "git"),
    "a page of the site edited": swap_letters,
    "a page of the site gone": lambda root: (root / "build/site/marks.html").unlink(),
    "a file put into the site": add("build/site/parts/stray.html", "<p>mine"),
    "the site gone": lambda root: shutil.rmtree(root / "build"),
    "nothing kept": lambda root: shutil.rmtree(root / ".pipeline"),
}


@contextmanager
def copied(root: Path, place: Path) -> Iterator[Path]:
    """Stand a workspace aside while edits are tried on it, and put it back: what is kept holds for its own place."""
    aside = place / "aside"
    shutil.copytree(root, aside, symlinks=True)
    try:
        yield root
    finally:
        shutil.rmtree(root)
        aside.rename(root)


@pytest.mark.parametrize("name", sorted(CHANGES))
def test_whatever_could_change_a_page_makes_it_build(name: str, first: tuple[Path, BuiltSite], tmp_path: Path) -> None:
    root, _ = first
    assert recall(root) is not None
    with copied(root, tmp_path):
        CHANGES[name](root)
        assert recall(root) is None
    assert recall(root) is not None, "all is as it was"


def test_another_day_place_edition_or_program_makes_it_build(
    first: tuple[Path, BuiltSite], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root, _ = first
    assert recall(root, DAY + dt.timedelta(1)) is None
    assert recall(root, None) is None, "the day that the shop speaks of may be another"
    assert recall(root, edition="public") is None
    shutil.copytree(root / "build/site", tmp_path / "site")
    assert SiteMemory(root, tmp_path / "site", DAY, "internal").recall() is None
    with monkeypatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1700000000")
        assert recall(root) is None
    with monkeypatch.context() as patch:
        patch.setattr("pipeline.sitegen.unchanged.compute_code_stamp", lambda: "a later program")
        assert recall(root) is None
    assert recall(root) is not None


@pytest.mark.skipif(sys.platform == "win32", reason="links and pipes")
@pytest.mark.parametrize("kind", ["link", "pipe", "link in the site"])
def test_what_may_change_without_a_trace_is_never_believed(
    kind: str, first: tuple[Path, BuiltSite], tmp_path: Path
) -> None:
    root, _ = first
    (tmp_path / "elsewhere.txt").write_text("words", "utf-8")
    with copied(root, tmp_path):
        if kind == "pipe":
            os.mkfifo(root / "shared" / "pipe")
        elif kind == "link":
            (root / "shared" / "words.txt").symlink_to(tmp_path / "elsewhere.txt")
        else:
            page = root / "build/site/marks.html"
            page.rename(tmp_path / "marks.html")
            page.symlink_to(tmp_path / "marks.html")
        assert recall(root) is None
        if kind != "link in the site":
            build_site(root, today=DAY)
            assert recall(root) is None


def test_what_changes_while_it_builds_is_built_again(
    sample: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    import pipeline.sitegen.mkdocs_build as run

    root, whole = sample(), run.build_into

    def edit_meanwhile(*arguments: object) -> object:
        built = whole(*arguments)  # type: ignore[arg-type]
        add(RECORD, "# written a moment too late\n")(root)
        return built

    monkeypatch.setattr(run, "build_into", edit_meanwhile)
    site = build_site(root, today=DAY).out
    assert recall(root) is None
    monkeypatch.undo()
    build_site(root, today=DAY)
    assert "too late" in (site / "parts/SD-100/part.yaml").read_text("utf-8")
    assert recall(root) is not None


@pytest.mark.hostile("records on disk", "kept values forged by whoever sent the workspace")
def test_a_forged_memory_is_not_believed(first: tuple[Path, BuiltSite], tmp_path: Path) -> None:
    """Whoever sends a workspace with a site in it could send words that say that it is the right one."""
    root, _ = first
    with copied(root, tmp_path):
        with sqlite3.connect(root / PLACE) as connection:
            changed = connection.execute("UPDATE kept SET seal = hex(randomblob(32)) WHERE room LIKE '% site'").rowcount
        connection.close()
        assert changed == 1
        assert recall(root) is None


# --- settings that bring in something else -------------------------------------------------------------------

OPEN = {
    "a hook": "hooks: [hook.py]\n",
    "a variable of the environment": "copyright: !ENV [WHO, nobody]\n",
    "settings from elsewhere": "INHERIT: ../base.yml\n",
    "another plugin": "plugins: [pipeline, other]\n",
    "records from elsewhere": "plugins: [{pipeline: {workspace: ../../other}}]\n",
    "templates from elsewhere": "theme: {name: pipeline, custom_dir: ../templates}\n",
    "another theme": "theme: readthedocs\n",
    "pages from elsewhere": "docs_dir: /srv/pages\n",
    "pages from above": "docs_dir: ../docs\n",
    "an extension that reads files": "markdown_extensions: [pymdownx.snippets]\n",
    "code of Python": "markdown_extensions: [{toc: {slugify: !!python/name:os.path.join }}]\n",
    "a word that nobody knows": "watch: [../more]\n",
    "no settings": "- a list\n",
    "settings that cannot be read": "site_name: [\n",
}
CLOSED = {
    "the plainest": "site_name: x\ntheme: pipeline\nplugins: [pipeline]\n",
    "with a search": "plugins: [search, pipeline]\n",
    "with all that is its own": "docs_dir: pages\nextra_css: [own.css]\nmarkdown_extensions: [tables, {toc: {permalink: true}}]\n"
    "theme: {name: pipeline, custom_dir: theme}\nplugins: [{pipeline: {logo: img/l.svg, workspace: '..'}}]\n",
}


@pytest.mark.parametrize("name", [*OPEN, *CLOSED])
def test_settings_tell_whether_anything_else_goes_into_a_page(name: str, tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site/mkdocs.yml").write_text({**OPEN, **CLOSED}[name], "utf-8")
    assert is_closed(tmp_path) == (name in CLOSED)


def test_our_own_settings_and_none_at_all_are_closed(tmp_path: Path) -> None:
    assert is_closed(SOURCE), "the demo's"
    assert is_closed(tmp_path), "no file of settings"


def test_a_site_with_a_plugin_of_the_makers_is_built_each_time(sample: Callable[..., Path]) -> None:
    words = CONFIG.replace("[pipeline]", "[pipeline, search]") + "hooks: [hook.py]\n"
    root = sample("", {"site/mkdocs.yml": words, "site/pages/notes.md": NOTES, "site/hook.py": "TURN = 1\n"})
    build_site(root, today=DAY)
    assert recall(root) is None


def test_a_build_that_is_refused_leaves_nothing_to_believe(sample: Callable[..., Path]) -> None:
    root = sample("", {"site/mkdocs.yml": "site_name: x\nplugins: []\n"})
    with pytest.raises(SiteNotBuilt):
        build_site(root, today=DAY)
    assert recall(root) is None
