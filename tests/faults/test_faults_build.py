"""Whatever happens around a build: the old site or the new one is there, whole; the message is clear; the next is right."""

from __future__ import annotations

import datetime as dt
import errno
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from faults.trouble import End, call, choose_moments, hash_files, interrupt, kill, refuse, run_child

from pipeline.findings.rule import Example
from pipeline.findings.sample import SAMPLE_PART, build_sample
from pipeline.sitegen.build import build_site

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are tried in forked processes")

REPO = Path(__file__).parents[2]
CONFIG = "site_name: Sample\ndocs_dir: pages\nsite_dir: ../build/site\ntheme: {name: pipeline}\nplugins: [pipeline]\nnav: [{Notes: notes.md}]\n"
RECORD = "projects/SD-100/part.yaml"
Sites = tuple[dict[str, str], dict[str, str]]
OLD_OR_NEW = "the old site or the new one, whole; the next build is right and leaves nothing lying about"


def write_workspace(root: Path) -> Path:
    """Write the sample workspace with a hand-written page."""
    files = dict(build_sample(Example()))
    files |= {"site/mkdocs.yml": CONFIG.encode(), "site/pages/notes.md": b"# Notes\n"}
    for name, content in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)
    return root


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, str], dict[str, str]]:
    """The hashes of the sample's site before and after one edit, each from a clean build."""
    found = []
    for name in ("Sample hook", "Renamed hook"):
        root = write_workspace(tmp_path_factory.mktemp("clean") / "w")
        rename(root, name)
        found.append(hash_pages(build_site(root).out))
    assert found[0] != found[1]
    return found[0], found[1]


def hash_pages(site: Path) -> dict[str, str]:
    """Return path -> sha256 of what is made from records: not the theme's own files, which are copied as they are."""
    return {path: found for path, found in hash_files(site).items() if not path.startswith(("css/", "js/", "img/"))}


def rename(root: Path, name: str) -> None:
    """Edit the record."""
    (root / RECORD).write_text(SAMPLE_PART.replace("name: Sample hook", f"name: {name}"))


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace with its site, edited since; copied for each test."""
    root = write_workspace(tmp_path_factory.mktemp("model") / "w")
    build_site(root)
    rename(root, "Renamed hook")
    return root


@pytest.fixture(scope="module")
def operations(model: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, int]:
    """How many files a build writes, and how many it opens at all."""
    counted = {}
    for name in ("writes", "reads"):
        copy = tmp_path_factory.mktemp(name) / "w"
        shutil.copytree(model, copy, symlinks=True)
        end = run_child(call("build", "-w", copy), copy, reads=name == "reads")
        assert end.code == 0, end.said
        counted[name] = end.operations
    return counted


@pytest.fixture
def built(model: Path, tmp_path: Path) -> Path:
    """A copy of the workspace with its site, edited since."""
    return Path(shutil.copytree(model, tmp_path / "w", symlinks=True))


def check_next(root: Path, new: dict[str, str]) -> None:
    """The next build is right, and nothing of the broken ones is left."""
    end = run_child(call("build", "-w", root), root)
    assert end.code == 0, end.said
    assert hash_pages(root / "build/site") == new
    assert {path.name for path in (root / "build").iterdir()} == {"site", ".site.lock"}


def check_words(end: End, *words: str) -> None:
    """What was said is for the user: no stack of calls, no mistake of the program."""
    assert end.code in (0, 1, 2, 130), (end.code, end.said)
    assert "Traceback" not in end.said and "mistake in the program" not in end.said and "UNCAUGHT" not in end.said, (
        end.said
    )
    for word in words:
        assert word in end.said, end.said


@pytest.mark.fault("kill -9 during a build", OLD_OR_NEW)
@pytest.mark.parametrize("many", [4, pytest.param(40, marks=pytest.mark.slow)])
def test_a_build_killed_at_any_moment(many: int, built: Path, operations: dict[str, int], sites: Sites) -> None:
    old, new = sites
    for at in choose_moments(operations["writes"], many):
        end = run_child(call("build", "-w", built), built, at)
        assert end.code < 0 or end.code == 0
        place = built / "build/site"
        aside = built / "build/.site.old"
        found = hash_pages(place if place.is_dir() else aside)  # between the two renames the old one lies beside
        assert found in (old, new), (at, set(found.items()) ^ set(old.items()))
    check_next(built, new)


@pytest.mark.fault("kill -9 during the very first build", "no site that is half there; the next build is right")
def test_a_first_build_killed(tmp_path: Path, operations: dict[str, int], sites: Sites) -> None:
    root = write_workspace(tmp_path / "w")
    for at in choose_moments(operations["writes"], 2)[1:]:
        run_child(call("build", "-w", root), root, at)
        assert not (root / "build/site").exists() or hash_pages(root / "build/site") == sites[0]
    check_next(root, sites[0])


TOLD = "the old site, whole; the reason is told, exit 2; the next build is right"
WHOLE = "a whole site or the old one, in words; the next build is right"


def build_case(name: str, what: str, holds: str, *, is_slow: bool) -> object:
    """Return one case with its marks."""
    marks = [pytest.mark.fault(what, holds), *([pytest.mark.slow] if is_slow else [])]
    return pytest.param(name, marks=marks, id=name)


FAULTS = {
    "full disk": errno.ENOSPC,
    "quota used up": errno.EDQUOT,
    "read-only target": errno.EROFS,
    "no permission": errno.EACCES,
    "damaged disk": errno.EIO,
    "too many open files": errno.EMFILE,
}


@pytest.mark.parametrize(
    "fault", [build_case(name, f"{name} during a build", TOLD, is_slow=name != "full disk") for name in FAULTS]
)
def test_a_build_that_is_refused_a_file(fault: str, built: Path, operations: dict[str, int], sites: Sites) -> None:
    old, new = sites
    last = operations["writes"]
    for at in (1, last // 2, last - 3) if fault == "full disk" else (last // 2,):
        end = run_child(call("build", "-w", built), built, at, refuse(FAULTS[fault]), every=True)
        check_words(end)
        assert hash_pages(built / "build/site") == (new if end.code == 0 else old), (at, end.said)
        assert end.code == 0 or os.strerror(FAULTS[fault]) in end.said, end.said
    if fault == "full disk":
        check_next(built, new)


@pytest.mark.fault(
    "a disk that is really full (tmpfs)", "the old site, whole; the reason is told; the next build is right"
)
@pytest.mark.slow
def test_a_build_on_a_disk_that_is_really_full(built: Path, tmp_path: Path, sites: Sites) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    sizes = [p.stat().st_size for p in (built / "build/site").rglob("*") if p.is_file()]
    size = sum(-(-one // 4096) * 4096 for one in sizes) + 20 * 4096  # the old site fits; what has changed does not
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(disk)], check=False, capture_output=True
    )
    if mounted.returncode != 0:
        pytest.skip("no right to mount a small disk")
    try:
        out = disk / "out" / "site"
        shutil.copytree(built / "build/site", out)
        end = run_child(call("build", "-w", built, "--out", out), disk)
        check_words(end, "No space left on device", "old one stays")
        assert end.code == 2 and hash_pages(out) == sites[0]
        assert {p.name for p in out.parent.iterdir()} == {"site", ".site.lock"}
        subprocess.run(["mount", "-o", f"remount,size={size * 4}", str(disk)], check=True)
        assert run_child(call("build", "-w", built, "--out", out), disk).code == 0
        assert hash_pages(out) == sites[1]
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


@pytest.mark.fault(
    "files cut off at a size (RLIMIT_FSIZE)", "the old site, whole; the reason is told; the next build is right"
)
@pytest.mark.parametrize("limit", [pytest.param(0, marks=pytest.mark.slow), 20_000])
def test_a_build_whose_files_are_cut_off(limit: int, built: Path, sites: Sites) -> None:
    import resource
    import signal

    def action() -> int:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        return call("build", "-w", built)()

    end = run_child(action, built)
    assert end.code in (2, 70), end.said  # with no byte allowed not even the words can be written
    assert hash_pages(built / "build/site") == sites[0]
    check_next(built, sites[1])


@pytest.mark.fault("Ctrl-C during a build", "the old site, whole; exit 130 and one line; the next build is right")
def test_a_build_that_is_interrupted(built: Path, operations: dict[str, int], sites: Sites) -> None:
    for at in (1, operations["writes"] // 2):
        end = run_child(call("build", "-w", built), built, at, interrupt)
        check_words(end)
        assert hash_pages(built / "build/site") == (sites[1] if end.code == 0 else sites[0])
        assert end.code in (0, 130) and (end.code == 0 or "Stopped" in end.said), end.said
    check_next(built, sites[1])


VANISHING = (
    "projects/SD-100/evidence/o1.csv",
    "projects/SD-100/part.yaml",
    "projects/SD-100",
    "shared/people.yaml",
    "site/pages/notes.md",
    "site/mkdocs.yml",
    ".pipeline",
)


@pytest.mark.parametrize(
    "name",
    [
        build_case(name, "files that vanish while a build reads them", WHOLE, is_slow=name not in VANISHING[:2])
        for name in VANISHING
    ],
)
def test_a_file_that_vanishes_under_a_build(name: str, built: Path, operations: dict[str, int], sites: Sites) -> None:
    victim, kept = built / name, built.parent / "kept"

    def vanish() -> None:
        if victim.exists():
            victim.rename(kept)

    for at in (operations["reads"] // 20, operations["reads"] // 2):
        before = hash_pages(built / "build/site")
        end = run_child(call("build", "-w", built), built, at, vanish, reads=True)
        check_words(end)
        assert (built / "build/site/index.html").is_file() and (built / "build/site/parts/index.html").is_file()
        assert hash_pages(built / "build/site") == before or end.code == 0, end.said
        if kept.exists():
            shutil.rmtree(victim, ignore_errors=True) if kept.is_dir() else None
            kept.rename(victim)
    if name == VANISHING[0]:
        check_next(built, sites[1])


@pytest.mark.fault("a record edited while a build reads it", "a whole site; the next build has the edit")
def test_a_record_that_changes_under_a_build(built: Path, operations: dict[str, int], sites: Sites) -> None:
    for at in (1, operations["reads"] // 30, operations["reads"] // 2):
        rename(built, "Sample hook")
        end = run_child(call("build", "-w", built), built, at, lambda: rename(built, "Renamed hook"), reads=True)
        check_words(end)
        page = (built / "build/site/parts/SD-100.html").read_text()
        assert end.code == 0 and ("Sample hook" in page) != ("Renamed hook" in page), "a page that says both"
    check_next(built, sites[1])


@pytest.mark.fault(
    "a repository that is committed to, switched and rewound under a build",
    "a whole site of one state; the next build is right",
)
@pytest.mark.slow
def test_a_repository_that_changes_under_a_build(built: Path, operations: dict[str, int]) -> None:
    def git(*words: str) -> str:
        done = subprocess.run(
            ["git", "-c", "user.name=Ann", "-c", "user.email=ann@example.invalid", *words],
            cwd=built,
            check=True,
            capture_output=True,
            text=True,
        )
        return done.stdout.strip()

    git("init", "-q", ".")
    (built / ".gitignore").write_text("build/\n.pipeline/\n")
    git("add", ".")
    git("commit", "-qm", "first")
    steps = iter(
        [
            ["commit", "-q", "--allow-empty", "-m", "second"],
            ["checkout", "-q", "--detach"],
            ["update-ref", "-d", "HEAD"],
            ["gc", "-q", "--prune=now"],
        ]
    )

    def change() -> None:
        subprocess.run(
            ["git", "-c", "user.name=Ann", "-c", "user.email=ann@example.invalid", *next(steps)],
            cwd=built,
            check=False,
            capture_output=True,
        )

    for at in (1, 20, operations["reads"] // 2, operations["reads"] - 5):
        end = run_child(call("build", "-w", built), built, at, change, reads=True)
        check_words(end)
        assert end.code == 0 and (built / "build/site/parts/SD-100.html").is_file()
        next(steps)  # the child has taken its own copy of this step
    again = run_child(call("build", "-w", built), built)
    assert again.code == 0
    first = hash_pages(built / "build/site")
    shutil.rmtree(built / ".pipeline", ignore_errors=True)
    build_site(built)
    assert hash_pages(built / "build/site") == first


@pytest.mark.fault("two builds of one site at once", "one of them builds, the other one says so; the site is whole")
def test_two_builds_of_one_site_at_once(built: Path, operations: dict[str, int], sites: Sites) -> None:
    ends: list[End] = []

    def second() -> None:
        done = subprocess.run(
            [sys.executable, "-m", "pipeline", "build", "-w", str(built)],
            capture_output=True,
            text=True,
            check=False,
            cwd=REPO,
        )
        (built.parent / "second.txt").write_text(f"{done.returncode}\n{done.stderr}")

    ends.append(run_child(call("build", "-w", built), built, operations["writes"] // 2, second))
    code, _, said = (built.parent / "second.txt").read_text().partition("\n")
    assert ends[0].code == 0 and code == "2" and "another build of" in said, said
    check_next(built, sites[1])


@pytest.mark.fault("two builds into two places at once, sharing what is kept", "both sites are right")
@pytest.mark.slow
def test_two_builds_that_share_what_is_kept(built: Path, tmp_path: Path, sites: Sites) -> None:
    shutil.rmtree(built / ".pipeline", ignore_errors=True)
    outs = [tmp_path / f"out-{n}" / "site" for n in range(2)]
    threads = [
        threading.Thread(
            target=subprocess.run,
            args=([sys.executable, "-m", "pipeline", "build", "-w", str(built), "--out", str(out)],),
            kwargs={"capture_output": True, "cwd": REPO},
        )
        for out in outs
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [hash_pages(out) for out in outs] == [sites[1], sites[1]]


@pytest.mark.fault(
    "what is kept between builds is damaged, of another version, a folder, a link", "the same site as without it"
)
@pytest.mark.parametrize(
    "damage", ["noise", "link", *(pytest.param(d, marks=pytest.mark.slow) for d in ("empty", "cut", "folder", "text"))]
)
def test_what_is_kept_is_damaged(damage: str, built: Path, tmp_path: Path, sites: Sites) -> None:
    build_site(built)
    kept = [
        p for p in (built / ".pipeline").rglob("*") if p.is_file() and p.name != ".gitignore" and "locks" not in p.parts
    ]
    assert kept
    for path in kept:
        content = path.read_bytes()
        if damage in ("folder", "link"):
            path.unlink()
            path.mkdir() if damage == "folder" else path.symlink_to(tmp_path / "elsewhere")
        else:
            path.write_bytes(
                {
                    "empty": b"",
                    "cut": content[: len(content) // 2],
                    "noise": os.urandom(len(content)),
                    "text": b"hello",
                }[damage]
            )
    end = run_child(call("build", "-w", built), built)
    check_words(end)
    assert end.code == 0 and hash_pages(built / "build/site") == sites[1]
    assert not (tmp_path / "elsewhere").exists(), "something was written through a link"


@pytest.mark.fault("a clock that jumps: files from the future and from 1970", "the same site")
@pytest.mark.parametrize("seconds", [4_102_444_800, *(pytest.param(n, marks=pytest.mark.slow) for n in (0, 2**31 + 5))])
def test_files_from_another_time(seconds: int, built: Path, sites: Sites) -> None:
    build_site(built)
    for path in built.rglob("*"):
        if path.is_file():
            os.utime(path, (seconds, seconds))
    assert hash_pages(build_site(built).out) == sites[1]
    rename(built, "Sample hook")
    os.utime(built / RECORD, (seconds, seconds))  # an edit that the clock hides
    assert hash_pages(build_site(built).out) == sites[0]


@pytest.mark.fault(
    "a clock that jumps: today is before the records, or far behind them", "every command answers; nothing is written"
)
@pytest.mark.parametrize("day", [dt.date(1990, 1, 1), dt.date(2026, 1, 12), dt.date(2199, 12, 31)])
def test_a_day_before_the_records_or_far_after(day: dt.date, built: Path) -> None:
    before = hash_pages(built / "projects")
    for words in (
        ["check"],
        ["next"],
        ["ladder", "SD-100"],
        ["impact", "SD-100", "length"],
        ["quotes"],
        ["loop", "SD-100"],
        ["case", "SD-100"],
        ["plan"],
        ["review"],
        *([["build"]] if day.year == 1990 else []),
    ):
        end = run_child(call(*words, "-w", built, "--on", day), built)
        check_words(end)
    assert hash_pages(built / "projects") == before
    assert (built / "build/site/parts/SD-100.html").is_file()


def test_the_hook_meets_every_moment(tmp_path: Path) -> None:
    """The tool of these tests is tried itself: it counts, kills and refuses where it is told to."""
    place = tmp_path / "w"
    place.mkdir()

    def three() -> None:
        for name in "abc":
            (place / name).write_text(name)

    assert run_child(three, place).operations == 3
    for at, left in ((1, ""), (2, "ab"), (3, "abc")):
        shutil.rmtree(place)
        place.mkdir()
        assert run_child(three, place, at, kill).code == -9
        assert sorted(p.name for p in place.iterdir()) == list("abc"[: at - 1]), left
    end = run_child(three, place, 2, refuse(errno.ENOSPC))
    assert end.code == 70 and "No space left" in end.said
