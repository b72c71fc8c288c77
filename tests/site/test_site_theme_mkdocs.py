"""The theme as a real MkDocs theme folder: a hand-written page, the 404 page and the files it copies."""

from __future__ import annotations

from pathlib import Path

import pytest

THEME = Path(__file__).parents[2] / "pipeline" / "sitegen" / "theme"
# What the plugin does with MkDocs' own environment, in one hook.
HOOK = """
import importlib.util
from pathlib import Path
from pipeline.sitegen.rendering import dress_environment

def on_env(env, config, files):
    spec = importlib.util.spec_from_file_location("theme_samples", {samples!r})
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return dress_environment(env, module.build_site(), str)
"""


@pytest.fixture(scope="module")
def mkdocs_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from mkdocs.commands.build import build
    from mkdocs.config import load_config

    folder = tmp_path_factory.mktemp("mkdocs")
    (folder / "docs" / "deep").mkdir(parents=True)
    (folder / "docs" / "index.md").write_text(
        "# Start\n\nHello *you*.\n\n## More\n\n[deep](deep/page.md)\n", encoding="utf-8"
    )
    (folder / "docs" / "deep" / "page.md").write_text("# <b>Bold</b> & deep\n\nText.\n", encoding="utf-8")
    hook = HOOK.format(samples=str(Path(__file__).with_name("theme_samples.py")))
    (folder / "hook.py").write_text(hook, encoding="utf-8")
    (folder / "mkdocs.yml").write_text(
        "site_name: Sample\nsite_url: ''\nuse_directory_urls: false\nplugins: []\nhooks: [hook.py]\n"
        f"theme: {{name: null, custom_dir: '{THEME.as_posix()}', static_templates: [404.html]}}\n",
        encoding="utf-8",
    )
    config = load_config(str(folder / "mkdocs.yml"), strict=True)
    build(config)
    return folder / "site"


def test_hand_written_page_is_dressed(mkdocs_site: Path) -> None:
    text = (mkdocs_site / "deep" / "page.html").read_text(encoding="utf-8")
    assert '<link rel="stylesheet" href="../css/colours.css">' in text
    assert '<a class="maker" href="../index.html">' in text
    assert "<title>Bold &amp; deep - Brackmoor Works</title>" in text
    assert '<article class="prose">\n<h1' in text


def test_theme_files_are_copied_and_templates_are_not(mkdocs_site: Path) -> None:
    for path in ("css/colours.css", "css/drawing.css", "css/narrow.css", "css/paper.css", "js/site.js", "js/search.js", "js/parts.js", "js/lineage.js", "img/mark.svg", "404.html"):  # fmt: skip
        assert (mkdocs_site / path).is_file(), path
    left = {path.name for path in mkdocs_site.rglob("*") if path.is_file()}
    assert not {name for name in left if name.endswith(".py") or name.startswith("_") or name == "mkdocs_theme.yml"}


def test_theme_folder_names_its_own_settings() -> None:
    import yaml

    settings = yaml.safe_load((THEME / "mkdocs_theme.yml").read_text(encoding="utf-8"))
    assert settings["static_templates"] == ["404.html"]
    assert settings["include_search_page"] is False
