"""ready: is each canal ready to be filled?"""

from typing import Annotated

import typer

from canalwright.cli import inputs, output
from canalwright.cli.errors import DANGEROUS

Details = Annotated[
    bool,
    typer.Option(
        "--details", help="Also: what the next measurement adds, the trade-off of shape, each file, the contact times."
    ),
]


def ready(
    case: inputs.CasePath,
    tray: inputs.TrayPath = None,
    canal: inputs.CanalName = None,
    json: inputs.AsJson = False,
    strict: inputs.Strict = False,
    details: Details = False,
) -> None:
    """Judge whether each canal is ready to be filled: length, shape, irrigation, dryness, with what to do."""
    from canalwright.readiness import Verdict, judge
    from canalwright.report import ready_json, ready_text
    from canalwright.report.ready_details import details_json, details_of, details_text

    read, canals = inputs.read_case(case, canal)
    instruments = inputs.read_tray(tray)
    found, more = [], []
    with output.progress("judging") as step:
        for one in canals:
            step(one.name)
            found.append(judge(one, instruments, read.record(one.name)))
            more.append(details_of(one, instruments, read.record(one.name), found[-1]) if details else None)
    if json:
        names = [{"tooth": c.tooth.code, "canal": c.name} for c in canals]
        told = [
            {**n, **ready_json(f), **(details_json(d) if d else {})} for n, f, d in zip(names, found, more, strict=True)
        ]
        output.print_json({"readiness": told})
    else:
        for one, verdict, extra in zip(canals, found, more, strict=True):
            if extra:
                output.line(details_text(one, extra))
            output.line(ready_text(one, verdict))
    if strict and any(f.verdict >= Verdict.NOT_READY for f in found):
        raise typer.Exit(DANGEROUS)
