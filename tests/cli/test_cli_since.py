"""`pipeline since`, `pipeline review` and `pipeline check --history` in a process of their own, on good and bad repositories."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from told_demo import copy_demo, find_told_demo, run_git

from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample
from pipeline.history.replay import PlannedCommit, write_history
from pipeline.model.review import Reviews
from pipeline.portfolio.outlook import look_out
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.reading.reviews import REVIEWS, read_reviews
from pipeline.views.flow import build_flow_page
from pipeline.views.part_page import build_part_page
from pipeline.views.review_page import build_review_page
from pipeline.views.review_terminal import build_review_dict


def run(*words: str, code: int | tuple[int, ...] = 0, **more: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", *words],
        capture_output=True,
        text=True,
        env={**os.environ, **more},
        check=False,
    )
    expected = code if isinstance(code, tuple) else (code,)
    assert done.returncode in expected, (done.returncode, done.stdout[-600:], done.stderr[-1500:])
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy_demo(tmp_path_factory.mktemp("since") / "w")


def test_text_and_json_say_the_same(demo: Path) -> None:
    text = run("since", "2026-11-02", "-w", str(demo)).stdout
    data = json.loads(run("since", "2026-11-02", "--json", "-w", str(demo)).stdout)
    assert [group["id"] for group in data["groups"]][:2] == ["hold-calls", "ready"]
    for group in data["groups"]:
        for item in group["items"]:
            assert f"{item['part']} {item['name']}".strip() in text and item["words"] in text
    proven = next(group for group in data["groups"] if group["id"] == "proven")
    assert proven["items"] and all(item["commit"]["id"] in text for item in proven["items"])
    assert text.index("HOLD CALLS") < text.index("READY FOR A DECISION") < text.index("GATES PROVEN")


def test_next_gives_days_only_when_asked(demo: Path) -> None:
    plain = run("next", "TW-112", "-w", str(demo)).stdout
    assert "date of release" not in plain
    dated = run("next", "TW-112", "--dates", "-w", str(demo)).stdout
    assert dated.startswith(plain.rstrip("\n")) and "no date of release: fewer than 8 parts" in dated


def test_terminal_and_page_agree(demo: Path) -> None:
    page = build_review_page(look_out(build_portfolio(demo), demo))
    assert json.loads(run("since", "--json", "-w", str(demo)).stdout) == json.loads(json.dumps(build_review_dict(page)))


@pytest.mark.parametrize("point", ["nope", "HEAD~99999", "--upload-pack=touch x", "-x", "a\nb", "2026-13-01", ""])
def test_words_that_name_nothing_end_with_usage(demo: Path, point: str) -> None:
    done = run("since", "-w", str(demo), "--", point, code=2)
    assert "Error" in done.stderr


def test_a_branch_that_looks_like_an_option_is_only_a_name(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    head = run_git(folder, "rev-parse", "HEAD~3")
    reference = folder / ".git/refs/heads/--output=owned"
    reference.write_text(head + "\n")
    run("since", "-w", str(folder), "--", "--output=owned", code=2)
    assert "What moved" in run("since", "-w", str(folder), "--", "refs/heads/--output=owned").stdout
    assert not list(tmp_path.rglob("owned"))[1:] and not (folder / "owned").exists()


def test_review_is_closed_once_and_the_next_starts_there(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    head = run_git(folder, "rev-parse", "HEAD")
    shown = run("review", "--close", "--by", "ito", "--dry-run", "-w", str(folder)).stdout
    assert "+reviews:" in shown and head in shown and not (folder / REVIEWS).exists()
    done = run("review", "--close", "-w", str(folder), "--yes", code=2, GIT_AUTHOR_EMAIL="nobody@example.invalid")
    assert "--by" in done.stderr and not (folder / REVIEWS).exists()
    run("review", "--close", "--by", "ito", "--note", "moved: two tools", "--yes", "-w", str(folder))
    reviews, findings = read_reviews(folder)
    assert findings == () and [(str(r.on), r.by, r.head, r.note) for r in reviews] == [
        ("2026-11-30", "ito", head, "moved: two tools")
    ]
    assert f"commit {head[:7]}" in run("since", "-w", str(folder)).stdout
    run("review", "--close", "--by", "mara", "--yes", "-w", str(folder))
    text = (folder / REVIEWS).read_text("utf-8")
    assert text.count("- {on:") == 2 and Reviews.model_json_schema()
    assert run("check", "-w", str(folder), code=1).returncode == 1  # the file disturbs no other check


def test_rewritten_history_is_told(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    run("review", "--close", "--by", "ito", "--yes", "-w", str(folder))
    assert "H909" not in run("check", "--history", "-w", str(folder), code=1).stdout
    run_git(folder, "reset", "-q", "--soft", "HEAD~5")
    run_git(folder, "commit", "-qm", "one commit instead of five")
    run_git(folder, "reflog", "expire", "--expire=now", "--all")
    run_git(folder, "gc", "-q", "--prune=now")
    assert "H909" in run("check", "--history", "-w", str(folder), code=1).stdout
    text = run("since", "-w", str(folder)).stdout  # the commit of the review is gone: said, and nothing crashes
    assert "No earlier state could be read" in text and "DECIDED" in text


def test_damaged_reviews_are_refused_and_told(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    (folder / REVIEWS).write_text("reviews:\n  - {on: yesterday, by: ito}\n")
    done = run("review", "--close", "--by", "ito", "--yes", "-w", str(folder), code=2)
    assert "reviews.yaml:2:" in done.stderr
    assert "What moved" in run("since", "-w", str(folder)).stdout
    assert "reviews.yaml:2:" in run("check", "--history", "-w", str(folder), code=1).stdout


# --- repositories that are not as they should be ------------------------------------------------------


def detach(folder: Path) -> None:
    run_git(folder, "checkout", "-q", "--detach", "HEAD")


def lose_git(folder: Path) -> None:
    shutil.rmtree(folder / ".git")


def empty_history(folder: Path) -> None:
    shutil.rmtree(folder / ".git")
    run_git(folder, "init", "-q")


def make_shallow(folder: Path) -> None:
    whole = folder.with_name("whole")
    folder.rename(whole)
    run_git(whole.parent, "clone", "-q", "--depth", "5", f"file://{whole}", str(folder))


def corrupt(folder: Path) -> None:
    record = folder / "projects/TW-101/part.yaml"
    record.write_text(record.read_text("utf-8") + "# one more\n", "utf-8")
    run_git(folder, "commit", "-qam", "one more")
    digest = run_git(folder, "rev-parse", "HEAD:projects/TW-101/part.yaml")
    loose = folder / ".git/objects" / digest[:2] / digest[2:]
    loose.chmod(0o644)
    loose.write_bytes(b"broken")


def break_a_version(folder: Path) -> None:
    record = folder / "projects/TW-101/part.yaml"
    text = record.read_text("utf-8")
    record.write_text(text + "decisions: [\n", "utf-8")
    run_git(folder, "commit", "-qam", "half typed")
    record.write_text(text + "# mended\n", "utf-8")
    run_git(folder, "commit", "-qam", "mended")


def run_ahead(folder: Path) -> None:
    ahead = {"GIT_AUTHOR_DATE": "2031-01-01T12:00:00Z", "GIT_COMMITTER_DATE": "2031-01-01T12:00:00Z"}
    run_git(folder, "commit", "-q", "--allow-empty", "-m", "from the future", **ahead)


ADDED = {
    "interface added since: arch": (
        "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}\n",
        "  arch: {what: hook to arch, gap: {limits: [0.1, 0.9]}, features: [length], since: 2026-05-20}\n",
    ),
    "application added since: estate": (
        "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n",
        "  estate: {vehicle: finch, body: estate, years: 1952-1955, since: 2026-05-20}\n",
    ),
}


@pytest.mark.parametrize("words", list(ADDED))
def test_a_gate_that_went_stale_for_what_was_added_says_so(tmp_path: Path, words: str) -> None:
    """The record of early May against the one of 20 May, to which one entry was added with its day."""
    before, entry = ADDED[words]
    commits = [
        PlannedCommit(
            dt.datetime(2026, 5, day, 12, tzinfo=dt.UTC), "bob", "bob", "x", dict(build_sample(Example(part)))
        )
        for day, part in ((5, before), (20, before + entry))
    ]
    write_history(tmp_path / "w", commits)
    said = run("since", "2026-05-10", "-w", str(tmp_path / "w")).stdout
    assert "GONE STALE" in said and words in said
    assert "G601" not in run("check", "--history", "-w", str(tmp_path / "w")).stdout


BROKEN = [
    (detach, "no branch is checked out"),
    (corrupt, "damaged"),
    (lose_git, "not inside a git repository"),
    (empty_history, "nothing has been committed yet"),
    (make_shallow, "clone is shallow"),
    (break_a_version, "could not be read as"),
    (run_ahead, "dated in the future"),
]
SOME, MORE = BROKEN[:2], [pytest.param(*one, marks=pytest.mark.slow) for one in BROKEN[2:]]


@pytest.mark.parametrize(("harm", "words"), [*SOME, *MORE], ids=lambda one: getattr(one, "__name__", ""))
def test_bad_repositories_are_said_plainly(tmp_path: Path, harm: Callable[[Path], None], words: str) -> None:
    """In the terminal, among the findings and on the pages; nothing crashes and every part is still there."""
    folder = copy_demo(tmp_path / "w")
    harm(folder)
    assert words in run("since", "-w", str(folder)).stdout.lower()
    assert words in run("check", "--history", "-w", str(folder), code=(0, 1)).stdout.lower()
    portfolio = look_out(build_portfolio(folder), folder)
    page = build_review_page(portfolio)
    assert words in "".join(run.text for note in page.notes for run in note).lower()
    part = build_part_page(portfolio.parts["TW-101"], {})
    if harm in (lose_git, empty_history):
        assert part.history == () and words in part.no_history.lower()
    else:
        assert len(part.history) > 20
    if harm in (make_shallow, corrupt, run_ahead, detach):
        assert words in part.history_note.lower()
    assert build_flow_page(portfolio).sections


@pytest.mark.slow
@pytest.mark.parametrize("harm", [harm for harm, _ in BROKEN], ids=lambda one: one.__name__)
def test_a_site_is_built_from_bad_repositories(tmp_path: Path, harm: Callable[[Path], None]) -> None:
    folder = copy_demo(tmp_path / "w")
    harm(folder)
    run("build", "-w", str(folder), code=(0, 1))
    assert "Side-lamp rim" in (folder / "build/site/parts/TW-101.html").read_text("utf-8")


@pytest.mark.slow
def test_a_repository_of_somebody_else_is_not_read(tmp_path: Path) -> None:
    """Git itself decides who owns it; its own test variable makes it believe that somebody else does."""
    folder = copy_demo(tmp_path / "w")
    done = run("since", "-w", str(folder), GIT_TEST_ASSUME_DIFFERENT_OWNER="1")
    assert "belongs to another user" in done.stdout and "safe.directory" in done.stdout
    found = run("check", "--history", "-w", str(folder), code=(0, 1), GIT_TEST_ASSUME_DIFFERENT_OWNER="1").stdout
    assert "H901" in found and "belongs to another user" in found


@pytest.mark.slow
def test_without_git_on_the_machine_everything_else_works(tmp_path: Path) -> None:
    """A path with no git on it: said with a way out in the review and among the findings; what the records say stands."""
    folder, empty = copy_demo(tmp_path / "w"), tmp_path / "bin"
    empty.mkdir()
    text = run("since", "-w", str(folder), PATH=str(empty)).stdout
    assert "note: Git was not found on this machine" in text and "install git" in text and "HOLD CALLS  (1)" in text
    found = run("check", "--history", "-w", str(folder), code=(0, 1), PATH=str(empty)).stdout
    assert "H901" in found and "git was not found" in found and "G606" in found
    dated = run("next", "TW-112", "--dates", "-w", str(folder), PATH=str(empty)).stdout
    assert "TW-112" in dated and "no date of release" in dated


@pytest.mark.slow
def test_nothing_that_a_repository_configures_is_started(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    trap = tmp_path / "sprung"
    for name in ("core.fsmonitor", "core.sshCommand", "diff.external", "core.pager", "gpg.program", "core.askPass"):
        run_git(folder, "config", name, f"touch {trap}")
    run("since", "HEAD~40", "-w", str(folder))
    run("check", "--history", "-w", str(folder), code=(0, 1))
    look_out(build_portfolio(folder), folder)
    assert not trap.exists()


def test_check_without_the_flag_knows_nothing_of_git() -> None:
    code = (
        "import sys\nfrom pipeline.cli.check_command import command\n"
        f"command.main(['-w', {str(find_told_demo(30))!r}], standalone_mode=False)\n"
        "print(sorted(m for m in sys.modules if m.startswith('pipeline.history') or m == 'git'), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip().endswith("[]")
