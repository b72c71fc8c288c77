"""Coverage-guided fuzzing of one reader with atheris (`pip install '.[fuzz]'`); run by the files `fuzz_*.py`.

`python tests/hostile/fuzz_yaml.py -runs=100000` tries that many inputs and ends with 0 when the law held for each;
an input that broke it is written to `crash-*` in the folder it was started from. All of libFuzzer's flags work:
`-max_total_time=300`, `-seed=7`, or a file name to try that one input again.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path


def fuzz(name: str) -> None:
    """Fuzz the reader of this name until the flags on the command line say stop."""
    import atheris
    from hostile.reader_laws import LAWS, ROOT

    law = LAWS[name]
    seeds = Path(tempfile.mkdtemp(prefix=f"seeds-{name}-", dir=ROOT))
    with atheris.instrument_imports(include=list(law.modules)):
        for number, seed in enumerate(law.build_seeds()):
            (seeds / str(number)).write_bytes(seed)
            law.obey(seed)  # what the reader imports on its way is watched too
    given = sys.argv[1:]
    folders = [] if any(not word.startswith("-") for word in given) else [str(seeds)]
    limits = [] if any(word.startswith("-max_len") for word in given) else ["-max_len=8192"]
    atheris.Setup([sys.argv[0], *limits, *given, *folders], law.obey)
    atheris.Fuzz()
