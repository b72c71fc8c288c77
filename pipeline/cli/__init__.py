"""Words the user types: parse, one call, print, exit."""


def main() -> None:
    """Run the command line; the entry point of the `pipeline` command."""
    from pipeline.cli.program import run

    run()
