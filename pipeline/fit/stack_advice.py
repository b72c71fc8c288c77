"""What a stack says in words, and what would bring it inside its limits."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.fit.stack import StackResult, StackVerdict


@dataclass(frozen=True)
class Remedy:
    """What brings a stack with both limits inside them.

    `shift_mm` moves the mean gap to the middle of its limits; the scales are what every half tolerance has to be
    multiplied by after that move (1 or more: there is room to spare; None: there is no tolerance to scale).
    """

    shift_mm: float
    worst_case_scale: float | None
    rss_scale: float | None


def compute_remedy(result: StackResult) -> Remedy:
    """Return the move of the mean gap and the scale of all tolerances that would just hold the limits.

    Args:
        result: a stack that was computed with both limits.

    Errors:
        ValueError: the stack has no lower or no upper limit, so it has no middle.

    Source: arithmetic of the worst case and the root-sum-square.

    Example:
        >>> from pipeline.fit.contributors import Contributor
        >>> from pipeline.fit.stack import compute_stack
        >>> remedy = compute_remedy(compute_stack([Contributor("gap", 1.0, -0.4, 0.4)],
        ...                                       lower_limit_mm=0.5, upper_limit_mm=0.9))
        >>> round(remedy.shift_mm, 6), round(remedy.worst_case_scale, 6)
        (-0.3, 0.5)
    """
    lower, upper = result.lower_limit_mm, result.upper_limit_mm
    if lower is None or upper is None:
        raise ValueError(
            "a remedy needs both limits of the gap; this stack has " + ("none" if lower is upper else "one")
        )
    room = (upper - lower) / 2
    return Remedy(
        shift_mm=(lower + upper) / 2 - result.mean_gap_mm,
        worst_case_scale=room / result.worst_half_mm if result.worst_half_mm > 0 else None,
        rss_scale=room / result.rss_half_mm if result.rss_half_mm > 0 else None,
    )


def describe_stack(result: StackResult) -> tuple[str, ...]:
    """Return the verdict of a stack as sentences for a page or a terminal, the most important first.

    Source: wording of our own; the figures are those of the result.

    Example:
        >>> from pipeline.fit.contributors import Contributor
        >>> from pipeline.fit.stack import compute_stack
        >>> print(describe_stack(compute_stack([Contributor("gap", 0.5, -0.1, 0.1)], lower_limit_mm=0.0))[0])
        The gap stays inside its limits for every set of parts inside their own: 0.400 to 0.600 mm.
    """
    sentences = [_describe_verdict(result)]
    if result.worst.low_mm < 0:
        sentences.append(
            f"Parts inside their limits can interfere by up to {-result.worst.low_mm:.3f} mm; "
            f"the chance of any interference is {describe_chance(result.chance.interference)}."
        )
    if result.sd_mm > 0:
        biggest = result.biggest
        sentences.append(f"{biggest.name} carries {biggest.variance_share:.0%} of the scatter: tighten it first.")
    return tuple(sentences)


def _describe_verdict(result: StackResult) -> str:
    worst = f"{result.worst.low_mm:.3f} to {result.worst.high_mm:.3f} mm"
    if result.verdict is StackVerdict.NO_LIMITS:
        return f"No limits are given for this gap; in the worst case it is {worst}."
    if result.verdict is StackVerdict.WORST_CASE:
        return f"The gap stays inside its limits for every set of parts inside their own: {worst}."
    outside = describe_chance(result.chance.outside if result.chance.outside is not None else 0.0)
    words = {
        StackVerdict.INFLATED: "the inflated root-sum-square stays inside the limits, the worst case does not",
        StackVerdict.RSS: "only the plain root-sum-square stays inside the limits, which needs means in the middle",
        StackVerdict.NOT_HELD: "no method keeps the gap inside its limits",
    }
    return f"The chance of a gap outside its limits is {outside}: {words[result.verdict]} ({worst})."


def describe_chance(chance: float) -> str:
    """Return a chance (0..1) in the words of a shop: a percentage, or one in so many when it is small.

    Errors:
        ValueError: the chance is not between 0 and 1.

    Source: wording of our own.

    Example:
        >>> describe_chance(0.158655), describe_chance(0.00135), describe_chance(1e-12)
        ('16 %', '1 in 740', 'under 1 in 1,000,000')
    """
    if not 0 <= chance <= 1:
        raise ValueError(f"a chance of {chance:g} is impossible; it is between 0 and 1")
    if chance == 0:
        return "none"
    if chance >= 0.095:
        return f"{chance:.0%}".replace("%", " %")
    if chance >= 0.01:
        return f"{chance:.1%}".replace("%", " %")
    if chance < 1e-6:
        return "under 1 in 1,000,000"
    one_in = float(f"{1 / chance:.2g}")
    return f"1 in {one_in:,.0f}"
