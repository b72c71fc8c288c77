"""Words the user types: parse, one call, print, exit."""

import os


def main() -> None:
    """Run the command line; the entry point of the `pipeline` command."""
    # what else is installed must have no say in what a record may hold; and looking for it takes time at every start
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

    from pipeline.cli.program import run

    run()
