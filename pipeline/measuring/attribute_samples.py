"""What good and bad pieces say when nothing is measured: go and no-go, fits and does not."""

from __future__ import annotations

from math import ceil, log

from pipeline.measuring.distributions import find_beta_quantile
from pipeline.measuring.points import check_number
from pipeline.measuring.samples import check_share


def compute_reject_bound(rejects: int, pieces: int, confidence: float = 0.95) -> float:
    """Upper one-sided bound of the reject rate after some rejects in a sample.

    Args:
        rejects: bad pieces, zero or more.
        pieces: pieces tried, one or more.
        confidence: one-sided.

    Raises:
        ValueError: more rejects than pieces, or a value out of range.

    Source: C. Clopper and E. Pearson, Biometrika 26 (1934); for no rejects 1 - (1 - confidence)^(1/n).

    >>> [round(100 * compute_reject_bound(0, n), 1) for n in (5, 10, 30)]
    [45.1, 25.9, 9.5]
    """
    check_number(pieces, "count of pieces", least=1)
    check_number(rejects, "count of rejects", least=0)
    check_share(confidence, "confidence")
    if rejects > pieces:
        raise ValueError(f"{rejects} rejects among {pieces} pieces; exchange them")
    return 1.0 if rejects == pieces else find_beta_quantile(confidence, rejects + 1, pieces - rejects)


def compute_pieces_needed(good_share: float, confidence: float = 0.95) -> int:
    """Pieces that must all be good to show that at least this share of the population is good.

    Args:
        good_share: between 0 and 1.
        confidence: between 0 and 1.

    Raises:
        ValueError: out of range.

    Source: success-run formula; ISO 16269-6 (distribution-free, one-sided).

    >>> compute_pieces_needed(0.95, 0.95), compute_pieces_needed(0.90, 0.90)
    (59, 22)
    """
    check_share(good_share, "good share")
    check_share(confidence, "confidence")
    return ceil(log(1 - confidence) / log(good_share) - 1e-9)
