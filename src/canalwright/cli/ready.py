"""ready: is each canal ready to be filled?"""

import typer

from canalwright.cli import inputs, output
from canalwright.cli.errors import DANGEROUS


def ready(
    case: inputs.CasePath,
    tray: inputs.TrayPath = None,
    canal: inputs.CanalName = None,
    json: inputs.AsJson = False,
    strict: inputs.Strict = False,
) -> None:
    """Judge whether each canal is ready to be filled: length, shape, irrigation, dryness, with what to do."""
    from canalwright.readiness import Verdict, judge
    from canalwright.report import ready_json, ready_text

    read, canals = inputs.read_case(case, canal)
    instruments = inputs.read_tray(tray)
    found = []
    with output.progress("judging") as step:
        for one in canals:
            step(one.name)
            found.append(judge(one, instruments, read.record(one.name)))
    if json:
        names = [{"tooth": c.tooth.code, "canal": c.name} for c in canals]
        output.print_json({"readiness": [{**n, **ready_json(f)} for n, f in zip(names, found, strict=True)]})
    else:
        for one, verdict in zip(canals, found, strict=True):
            output.line(ready_text(one, verdict))
    if strict and any(f.verdict >= Verdict.NOT_READY for f in found):
        raise typer.Exit(DANGEROUS)
