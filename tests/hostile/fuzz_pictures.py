"""Fuzz the reader of pictures: `python tests/hostile/fuzz_pictures.py -runs=100000` (see fuzzing.py)."""

import sys
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))
    from hostile.fuzzing import fuzz

    fuzz("pictures")
