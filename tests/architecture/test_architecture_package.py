"""The wheel and the source archive: they build without the net, hold what they must, and run the demo from any folder."""

from __future__ import annotations

import os
import shutil
import site
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHOWN = ("pipeline", "projects", "shared", "site", "tests")


def run(*words: object, cwd: Path, **more: str) -> str:
    """Run a program and return what it said; it must end well."""
    env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "PIP_"))} | {"PIP_NO_INDEX": "1", **more}
    done = subprocess.run(list(map(str, words)), cwd=cwd, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The wheel and the source archive, built from what git tracks."""
    pytest.importorskip("hatchling", reason="pip install '.[test]'")
    source, out = tmp_path_factory.mktemp("source") / "repro", tmp_path_factory.mktemp("dist")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not a git repository")
    for name in listed.stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, source / name)
    run(sys.executable, "-m", "hatchling", "build", "-d", out, cwd=source)
    return next(out.glob("*.whl")), next(out.glob("*.tar.gz"))


def list_archive(archive: Path) -> set[str]:
    """Return the files of the source archive, without its top folder."""
    with tarfile.open(archive) as packed:
        return {name.partition("/")[2] for name in packed.getnames() if "/" in name}


@pytest.mark.slow
def test_the_wheel_holds_the_program_and_the_demo_and_nothing_else(built: tuple[Path, Path]) -> None:
    with zipfile.ZipFile(built[0]) as packed:
        names = set(packed.namelist())
    tops = {name.split("/")[0] for name in names}
    assert tops == {"pipeline", next(top for top in tops if top.endswith(".dist-info"))}
    for name in (
        "pipeline/sitegen/theme/base.html",
        "pipeline/demo/workspace/shared/people.yaml",
        "pipeline/demo/workspace/site/mkdocs.yml",
    ):
        assert name in names
    records = {path.relative_to(ROOT).as_posix() for path in (ROOT / "projects").glob("*/part.yaml")}
    assert {f"pipeline/demo/workspace/{name}" for name in records} <= names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert not [name for name in names if "__pycache__" in name or "/tests/" in name or "/.pipeline/" in name]


@pytest.mark.slow
def test_the_source_archive_is_enough_to_build_and_to_test(built: tuple[Path, Path], tmp_path: Path) -> None:
    names = list_archive(built[1])
    tracked = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    wanted = {
        name for name in tracked if name.startswith(tuple(f"{top}/" for top in SHOWN)) and (ROOT / name).is_file()
    }
    assert wanted - names == set()
    assert {"pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", ".ci/run"} <= names
    with tarfile.open(built[1]) as packed:
        packed.extractall(tmp_path, filter="data")
    folder = next(path for path in tmp_path.iterdir() if path.is_dir())
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", tmp_path / "again", cwd=folder)
    with zipfile.ZipFile(built[0]) as first, zipfile.ZipFile(next((tmp_path / "again").glob("*.whl"))) as second:
        assert {i.filename: i.CRC for i in first.infolist()} == {i.filename: i.CRC for i in second.infolist()}
    run(
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-n",
        "0",
        "tests/findings",
        "tests/lineage",
        cwd=folder,
        PYTHONPATH=str(folder),
    )


@pytest.mark.slow
def test_the_installed_wheel_alone_runs_the_demo_from_any_folder(built: tuple[Path, Path], tmp_path: Path) -> None:
    """The libraries are those of this environment; the program is the wheel's and nothing of the source tree."""
    place = tmp_path / "fresh"
    venv.create(place, with_pip=True)
    scripts = place / ("Scripts" if sys.platform == "win32" else "bin")
    python = scripts / "python"
    packages = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=tmp_path).strip())
    run(python, "-m", "pip", "install", "-q", "--no-deps", "--no-index", built[0], cwd=tmp_path)
    (packages / "libraries.pth").write_text("\n".join(site.getsitepackages()) + "\n")
    where = run(python, "-c", "import pipeline; print(pipeline.__file__)", cwd=tmp_path).strip()
    assert Path(where).is_relative_to(packages)
    elsewhere = tmp_path / "some where"
    elsewhere.mkdir()
    said = run(scripts / "pipeline", "demo", "shop", "--parts", "3", cwd=elsewhere)
    assert "Open file://" in said
    assert (elsewhere / "shop/build/site/index.html").is_file()
    assert "Traceback" not in run(scripts / "pipeline", "next", cwd=elsewhere / "shop")
