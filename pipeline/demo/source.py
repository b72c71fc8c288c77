"""Where the demo's own records, catalogues and pages lie: inside the installed package, or around it in a checkout."""

from __future__ import annotations

from pathlib import Path

WORKSPACE_FOLDERS = ("projects", "shared", "site")
GITIGNORE = "/build/\n/.pipeline/\n__pycache__/\n"
GITATTRIBUTES = (
    "# Evidence is what was measured, byte for byte: git never converts its line endings.\n"
    "* text=auto eol=lf\n"
    "projects/*/evidence/** -text\n"
    "projects/*/evidence.sha256 text eol=lf\n"
)


def find_demo_source() -> Path:
    """Return the folder that holds projects/, shared/ and site/ of the demo.

    Raises FileNotFoundError when the package was installed without them.
    """
    inside = Path(__file__).parent / "workspace"
    around = Path(__file__).parents[2]
    for folder in (inside, around):
        if all((folder / name).is_dir() for name in WORKSPACE_FOLDERS):
            return folder
    raise FileNotFoundError("the demo's records are not in this installation; install repro-pipeline again")


def read_demo_files(folders: tuple[str, ...] = WORKSPACE_FOLDERS) -> dict[str, bytes]:
    """Return the demo's files: path in the workspace -> bytes, with .gitignore and .gitattributes."""
    source = find_demo_source()
    files = {".gitignore": GITIGNORE.encode(), ".gitattributes": GITATTRIBUTES.encode()}
    for folder in folders:
        for path in sorted((source / folder).rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts and ".cache" not in path.parts:
                files[path.relative_to(source).as_posix()] = path.read_bytes()
    return files


def write_tree(root: Path, files: dict[str, bytes]) -> None:
    """Write files below a folder that nobody else uses yet."""
    for name, content in files.items():
        target = root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
