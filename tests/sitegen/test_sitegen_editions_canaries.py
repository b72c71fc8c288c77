"""No canary leaves the house: one in every field of the model, in file names, pictures, git; none in any outer byte.

A positive control shows that the internal edition holds them, and that the search finds them where they are.
"""

from __future__ import annotations

import itertools
import json
import os
import shutil
import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from sitegen.edition_canaries import (
    WORD,
    Canaries,
    build_canary_catalogues,
    build_canary_part,
    build_png,
    find_traces,
    list_fields,
    write_json,
)

from pipeline.findings.sample import _EVIDENCE
from pipeline.model.part import Part
from pipeline.reading.shape import parse_shape
from pipeline.reading.tree import Tree, dump_plain
from pipeline.sitegen.build import build_site

OUT, KEPT = "SD-100", "QZ9500"
FITTING = "zvfitting"
SECRETS = [f"qz{number}" for number in range(8000, 8009)]
EDITIONS = {
    "editions": {
        "public": {
            "parts": ["released", "announced", "tooling released", "open"],
            "fields": ["family", "hands", "replaces", "picture", "marking", "stage", "expected", "price", "contents"],
            "intro": "zvintro",
        },
        "partner": {
            "parts": ["released", "announced", "tooling released", "open"],
            "fields": ["family", "hands", "replaces", "picture", "drawing words", "marking", "stage", "expected", "price",
                       "contents", "fitting", "trials"],
        },
    }
}  # fmt: skip


@dataclass(frozen=True)
class Planted:
    """The workspace, its three editions, and the canaries of the part that is let out."""

    root: Path
    sites: dict[str, Path]
    canaries: Canaries
    part: dict[str, Any]


def put_back(part: dict[str, Any]) -> None:
    """Put plain values where both editions may speak. Written by hand: what is not here must not leave."""
    part |= {"part": OUT, "name": "Sample hook", "confidential": True, "announce": "2026-05-01", "safety": "S1"}
    part["hands"] = {**part["hands"], "left": "SD-100-L", "right": "SD-100-R"}
    part["marking"] |= {"text": "51", "where": "on the back"}
    part["demand"]["price"] = "68 USD"
    part["originals"]["O1"]["hazard"] = "asbestos"
    part["made_of"] = {
        key: {**one, **({"part": KEPT} if "part" in one else {})} for key, one in part["made_of"].items()
    }
    gap = part["interfaces"]["qzk9002"]
    gap |= {"what": FITTING, "gap": {"limits": [0.1, 0.9], "unit": "mm"}}
    for key in ("qzk9000", *gap["features"]):
        part["features"][key] |= {"what": f"{FITTING} too", "nominal": 40, "limits": [-0.2, 0.2]}


def put_back_catalogues(shared: dict[str, Any]) -> None:
    """Put plain words where the catalogues may speak."""
    shared["shop"] |= {"name": "Sample shop", "note": "a note for all"}
    shared["families"]["families"]["cast"]["name"] = "cast"
    finch = shared["vehicles"]["vehicles"]["finch"]
    finch |= {"name": "Finch"}
    for key, body in finch["bodies"].items():
        body["name"] = key
    shared["safety"]["classes"]["S1"] = {"name": "S1", "meaning": "control", "caution": "look"}
    shared["safety"]["regulations"]["lamps"] = {
        "system": "US", "number": "108", "subject": "lamps", "parts": "qz8010", "seen": "seen", "note": "qz8011",
    }  # fmt: skip
    shared["safety"]["hazards"]["asbestos"] = "care"


def write_evidence(folder: Path, canaries: Canaries, tokens: Any) -> None:
    """Write the evidence of a record under names that tell secrets, with secrets inside."""
    for old, new in canaries.files.items():
        path = folder / new
        path.parent.mkdir(parents=True, exist_ok=True)
        text = _EVIDENCE.get(old, "feature,n,reading,unit\n") + f"# qz{next(tokens):04}\n"
        path.write_bytes(build_png(tokens) if old.endswith(".png") else text.encode())


def commit_all(root: Path) -> None:
    """Record everything under secret names."""
    who = {"NAME": SECRETS[0], "EMAIL": f"{SECRETS[1]}@example.invalid", "DATE": "1995-05-30T12:00:00Z"}
    env = {**os.environ, **{f"GIT_{role}_{key}": text for role in ("AUTHOR", "COMMITTER") for key, text in who.items()}}
    for arguments in (["init", "-q", "-b", SECRETS[2]], ["add", "."], ["commit", "-qm", SECRETS[3]]):
        subprocess.run(["git", *arguments], cwd=root, check=True, env=env)


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Planted:
    """Write the workspace, record it, and build all three editions of it."""
    root = tmp_path_factory.mktemp("canaries") / SECRETS[4]
    canaries, tokens = Canaries(), itertools.count(8100)
    part = build_canary_part(canaries)
    kept = {**json.loads(json.dumps(part)), "part": KEPT, "confidential": True, "announce": "1999-01-01"}
    kept |= {"announce": "2029-12-24", "family": "qzk9100"}
    kept["hands"] = {"left": "QZ9501", "right": "QZ9502", "relation": "mirror"}
    for fit in kept["fits"].values():
        fit["vehicle"] = "qzk9101"
    put_back(part)
    assert (
        parse_shape(Tree("x", "", dump_plain(part)), Part)[1]
        == ()
        == parse_shape(Tree("x", "", dump_plain(kept)), Part)[1]
    )
    write_json(root / "projects" / OUT / "part.yaml", part)
    write_json(root / "projects" / KEPT / "part.yaml", kept)
    for number in (OUT, KEPT):
        write_evidence(root / "projects" / number, canaries, tokens)
    shared = build_canary_catalogues(Canaries(numbers=False))
    put_back_catalogues(shared)
    for name, value in {**shared, "editions": EDITIONS}.items():
        write_json(root / "shared" / f"{name}.yaml", value)
    pages = root / "site" / "pages"
    (pages / "img").mkdir(parents=True)
    (pages / f"{SECRETS[5]}.md").write_text(f"# {SECRETS[6]}\n\n![]({SECRETS[7]}.png)\n", encoding="utf-8")
    (pages / f"{SECRETS[7]}.png").write_bytes(build_png(tokens))
    (pages / "img" / "counter.png").write_bytes(build_png(tokens))
    (pages / "dealers.md").write_text(
        "---\neditions: [partner]\n---\n# zvdealers\n\n![the counter](img/counter.png)\n", encoding="utf-8"
    )
    (root / "site" / "mkdocs.yml").write_text(
        f"site_name: {SECRETS[8]}\nsite_description: {SECRETS[8]}\ncopyright: {SECRETS[8]}\ndocs_dir: pages\n"
        "use_directory_urls: false\ntheme: {name: pipeline}\nplugins: [pipeline]\n"
        f"nav: [{{Secret: {SECRETS[5]}.md}}, {{Dealers: dealers.md}}]\n",
        encoding="utf-8",
    )
    commit_all(root)
    sites = {name: build_site(root, edition=name).out for name in ("internal", "public", "partner")}
    return Planted(root, sites, canaries, part)


def list_all(site: Path) -> dict[str, bytes]:
    """Return every file of a site by its path."""
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in sorted(site.rglob("*")) if path.is_file()}


def test_every_field_of_a_record_holds_a_canary(planted: Planted) -> None:
    missed = list_fields(Part) - planted.canaries.seen
    assert missed <= {("Payment", "at"), ("Payment", "share")}, "the generator passes these fields over"
    assert len(planted.canaries.made) > 60
    assert len(planted.canaries.dropped) <= 4, planted.canaries.dropped


@pytest.mark.parametrize("edition", ["public", "partner"])
def test_no_canary_is_in_any_byte_or_name_of_an_outer_edition(planted: Planted, edition: str) -> None:
    files = list_all(planted.sites[edition])
    assert len(files) > 15
    for name, content in files.items():
        assert find_traces(name.encode()) == [], name
        assert find_traces(content) == [], (name, content[:300])
        assert b"2029" not in content, name
    assert [path for path in files if "evidence" in path or path.endswith((".yaml", ".md", ".stl"))] == []


@pytest.mark.parametrize("edition", ["public", "partner"])
def test_no_commit_no_path_and_no_internal_page_is_named(planted: Planted, edition: str) -> None:
    head = subprocess.run(["git", "rev-parse", "HEAD"], cwd=planted.root, capture_output=True, check=True).stdout
    for name, content in list_all(planted.sites[edition]).items():
        for secret in (head[:7], str(planted.root).encode(), b"review.html", b"rules/", b"spend", b"Ann", b"Bob"):
            assert secret not in content, (name, secret)


def test_internal_edition_does_hold_them(planted: Planted) -> None:
    """The control: where nothing is kept back, the same search finds most of them, of every sort."""
    files = list_all(planted.sites["internal"])
    found = {match.decode().lower() for content in files.values() for match in WORD.findall(content)}
    found |= {match.decode().lower() for name in files for match in WORD.findall(name.encode())}
    assert len(found & set(planted.canaries.made)) > 0.6 * len(planted.canaries.made)
    assert {SECRETS[0], SECRETS[6], KEPT.lower(), "qz9501"} <= found
    picture = planted.part["picture"]
    traces = {trace.lower() for trace in find_traces(files[f"parts/{OUT}/{picture}"])}
    assert len(traces) >= 5, "EXIF, text, packed text, XMP and what follows the picture"


def test_search_finds_a_canary_in_whatever_it_is_packed(planted: Planted) -> None:
    assert find_traces(b"x" + zlib.compress(b"the word qz1234") + b"y")
    assert find_traces(b"7,310,017") and find_traces(b"17 May 1991") and find_traces(b"QZ9500")
    clean = (planted.sites["public"] / "index.html").read_bytes()
    assert find_traces(clean) == [] and find_traces(clean.replace(b"Sample hook", b"qzf1007")) == [b"qzf1007"]


def test_what_an_edition_may_say_is_said(planted: Planted) -> None:
    """An edition that says nothing would pass every test above."""
    public, partner = (list_all(planted.sites[name]) for name in ("public", "partner"))
    page = public[f"parts/{OUT}.html"].decode()
    for words in ("Sample hook", "Finch saloon 1951–1955", "SD-099", "SD-100-L", "68 USD", "on the back", "asbestos"):
        assert words in page, words
    assert "zvintro" in public["index.html"].decode()
    assert FITTING not in "".join(text.decode("utf-8", "ignore") for text in public.values())
    assert FITTING in partner[f"parts/{OUT}.html"].decode() and "40.0 mm, ±0.2" in partner[f"parts/{OUT}.html"].decode()
    assert "zvdealers" in partner["dealers.html"].decode() and "dealers.html" not in public
    assert "img/counter.png" in partner and f"pictures/{OUT}.png" in public
    for files in (public, partner):
        assert files["feed.xml"].count(b"<entry>") == 1 and b"SD-100 Sample hook: announced" in files["feed.xml"]
    assert any(name.startswith(f"parts/{OUT}/") and name.endswith(".csv") for name in partner), "tables as files"
    assert json.loads(public["data/parts.json"])["parts"][0]["number"] == OUT
    assert len(json.loads(public["data/parts.json"])["parts"]) == 1


@pytest.mark.parametrize("edition", ["public", "partner"])
def test_files_of_an_outer_edition_carry_one_date(planted: Planted, edition: str) -> None:
    times = {path.stat().st_mtime for path in planted.sites[edition].rglob("*")}
    assert len(times) == 1
    assert times.pop() % 86_400 == 0


def test_what_stays_in_changes_no_byte_of_what_leaves(planted: Planted, tmp_path: Path) -> None:
    """The strongest form: without the part that stays the outer sites are the same to the byte."""
    root = tmp_path / "without"
    for name in ("projects", "shared", "site"):
        shutil.copytree(planted.root / name, root / name)
    shutil.rmtree(root / "projects" / KEPT)
    assert list_all(build_site(root, edition="partner").out) == list_all(planted.sites["partner"])
