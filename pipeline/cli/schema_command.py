"""`pipeline schema`: JSON Schemas for editors."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("schema")
@click.argument("name", required=False)
@click.option(
    "--write",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write all schemas into this folder as <name>.schema.json.",
)
def command(name: str | None, folder: Path | None) -> int:
    """Print the JSON Schema of NAME (`part`, or a catalogue such as `families`), or write all of them.

    An editor that knows JSON Schema completes a record, and explains its keys, once it is told which schema goes with
    which files: part.schema.json with projects/*/part.yaml, <name>.schema.json with shared/<name>.yaml.
    """
    from pipeline.findings.report import render_json
    from pipeline.reading.schema import SCHEMA_NAMES, build_schema
    from pipeline.writing.files import write_text

    if folder is not None:
        for one in SCHEMA_NAMES if name is None else (name,):
            _refuse_unknown(one, SCHEMA_NAMES)
            write_text(folder / f"{one}.schema.json", render_json(build_schema(one)) + "\n")
        click.echo(f"Wrote {len(SCHEMA_NAMES) if name is None else 1} schemas to {folder}.")
        return 0
    _refuse_unknown(name or "part", SCHEMA_NAMES)
    click.echo(render_json(build_schema(name or "part")))
    return 0


def _refuse_unknown(name: str, known: tuple[str, ...]) -> None:
    if name not in known:
        raise click.UsageError(f"There is no schema {name!r}; there are {', '.join(known)}.")
