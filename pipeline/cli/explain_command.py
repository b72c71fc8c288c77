"""`pipeline explain`: a rule of the catalogue, in full."""

from __future__ import annotations

import click


@click.command("explain")
@click.argument("rule", required=False)
@click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")
def command(rule: str | None, as_json: bool) -> int:
    """Explain RULE (e.g. G601): what it wants, why, how to mend it, a bad and a good example. Without RULE: list all.

    Words find a rule too: `pipeline explain calibration`.
    """
    from pipeline.findings.catalogue import BY_ID, RULES
    from pipeline.findings.report import render_json
    from pipeline.views.bench import build_rule_dict, render_rule, render_rule_list

    if rule is None:
        found = list(RULES)
    elif rule.upper() in BY_ID:
        found = [BY_ID[rule.upper()]]
    else:
        found = [one for one in RULES if rule.casefold() in f"{one.title} {one.why} {one.fix}".casefold()]
    if not found:
        import difflib

        close = difflib.get_close_matches(str(rule).upper(), BY_ID, n=1)
        hint = f" Did you mean {close[0]}?" if close else " `pipeline explain` lists all."
        raise click.UsageError(f"There is no rule {rule!r}.{hint}")
    if as_json:
        click.echo(render_json({"format": "repro-pipeline rules 1", "rules": [build_rule_dict(one) for one in found]}))
    else:
        click.echo(render_rule(found[0]) if len(found) == 1 else render_rule_list(found))
    return 0
