"""serve: the page on this machine."""

from pathlib import Path
from typing import Annotated

import typer

from canalwright.cli import inputs

Case = Annotated[Path | None, typer.Argument(metavar="CASE", help="Case to open; without it the invented demo case.")]
Port = Annotated[int, typer.Option("--port", min=1024, max=65535, help="Port on this machine.")]
Show = Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")]


def serve(case: Case = None, tray: inputs.TrayPath = None, port: Port = 8765, show: Show = True) -> None:
    """Open the page on this machine only (loopback); stop it with Ctrl-C."""
    from canalwright import web

    opened = inputs.read_case(case)[0] if case is not None else None
    web.serve(case=opened, tray=inputs.read_tray(tray), port=port, show=show)
