"""`python -m pipeline` is the `pipeline` command."""

from pipeline.cli import main

main()
