"""serve: the page on this machine, and from elsewhere where records have accounts and TLS."""

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from canalwright.cli import inputs
from canalwright.cli.errors import BAD_INPUT, explain
from canalwright.cli.records_keys import Keyring, Names, Url, opened

Case = Annotated[Path | None, typer.Argument(metavar="CASE", help="Case to open; without it the invented demo case.")]
Port = Annotated[int, typer.Option("--port", min=1024, max=65535, help="Port on this machine.")]
Show = Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")]
Records = Annotated[
    Path | None, typer.Option("--records", metavar="HOME", help="Open these records: everybody signs in first.")
]
Host = Annotated[str, typer.Option("--host", metavar="ADDRESS", help="Address to listen on; another needs TLS.")]
Certificate = Annotated[Path | None, typer.Option("--certificate", metavar="FILE", help="Certificate chain, PEM.")]
PrivateKey = Annotated[Path | None, typer.Option("--key", metavar="FILE", help="Its private key, PEM.")]


def serve(
    case: Case = None,
    tray: inputs.TrayPath = None,
    port: Port = 8765,
    show: Show = True,
    records: Records = None,
    host: Host = "127.0.0.1",
    certificate: Certificate = None,
    key: PrivateKey = None,
    names: Names = False,
    keyring: Keyring = None,
    url: Url = None,
) -> None:
    """Open the page on this machine only (loopback) unless told otherwise; stop it with Ctrl-C."""
    from canalwright import web
    from canalwright.web.place import Place, PlaceError

    try:
        place = Place(host, port, certificate, key, accounts=records is not None)
        place.listen().close()  # before a passphrase is asked for
    except PlaceError as error:
        explain(error)
        raise typer.Exit(BAD_INPUT) from None
    first = inputs.read_case(case)[0] if case is not None else None
    tools = inputs.read_tray(tray)
    with ExitStack() as stack:
        store = None
        if records is not None:
            store = stack.enter_context(opened(records, "page served", keyring=keyring, url=url, names=names))
        try:
            web.serve(case=first, tray=tools, place=place, show=show, store=store)
        except PlaceError as error:
            explain(error)
            raise typer.Exit(BAD_INPUT) from None
