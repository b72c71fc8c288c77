"""No two files of a site are one where upper and lower case are not told apart."""

from __future__ import annotations

import doctest
from collections.abc import Callable
from pathlib import Path

import pipeline.sitegen.alike_names as alike_names
import pipeline.views.addresses as addresses
from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.sitegen.alike_names import find_alike
from pipeline.sitegen.build import build_site

CONFIG = "site_name: Sample\ndocs_dir: pages\nsite_dir: ../build/site\ntheme: {name: pipeline}\nplugins: [pipeline]\n"
PEOPLE = SAMPLE_SHARED["shared/people.yaml"]


def list_files(folder: Path) -> list[str]:
    """Return the paths of a site's files."""
    return [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()]


def test_examples_run() -> None:
    assert doctest.testmod(alike_names).failed == 0 and doctest.testmod(addresses).failed == 0


def test_a_file_named_like_a_table_of_the_site_keeps_its_content_and_the_table_its_own(
    sample: Callable[..., Path],
) -> None:
    measured = (
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: Features.csv, gives: {length: 40.02}}\n"
        "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
    )
    content = "feature,n,reading,unit\nlength,1,40.02,mm\n"
    built = build_site(sample(measured, {"projects/SD-100/Features.csv": content}))
    assert built.warnings == () and find_alike(list_files(built.out)) == []
    assert (built.out / "parts/SD-100/record/Features.csv").read_text("utf-8") == content
    assert "overall length" in (built.out / "parts/SD-100/features.csv").read_text("utf-8")
    assert 'href="../parts/SD-100/record/Features.csv"' in (built.out / "parts/SD-100.html").read_text("utf-8")


def test_names_that_differ_in_case_only_are_told_with_the_way_out(sample: Callable[..., Path]) -> None:
    twin = PEOPLE + "  Ann: {name: Ann Other, roles: [engineer]}\n"
    pages = {"site/mkdocs.yml": CONFIG, "site/pages/parts/Index.md": "# Our own\n"}
    built = build_site(sample("", {"shared/people.yaml": twin, **pages}))
    told = [warning for warning in built.warnings if "are one file where upper and lower case" in warning]
    assert [warning.partition(" are one file")[0] for warning in told] == [
        "calendar/for-Ann.ics and calendar/for-ann.ics",
        "parts/Index.html and parts/index.html",
    ]
    assert all("rename what one of them is made from" in warning for warning in told)


def test_the_years_of_a_vehicle_are_no_other_vehicle(sample: Callable[..., Path]) -> None:
    vehicles = SAMPLE_SHARED["shared/vehicles.yaml"].replace(
        "cars:", "  finch-years: {name: Late, bodies: {saloon: {name: saloon, years: 1960}}}\ncars:"
    )
    fits = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  late: {vehicle: finch-years, body: saloon, years: 1960}\n"
    out = build_site(sample(fits, {"shared/vehicles.yaml": vehicles})).out
    found = {name: (out / "data" / name).read_text("utf-8") for name in ("vehicle-finch-years.csv", "years-finch.csv")}
    assert "1951" in found["years-finch.csv"] and "1951" not in found["vehicle-finch-years.csv"]
