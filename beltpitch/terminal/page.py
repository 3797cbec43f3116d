"""``beltpitch page``: the measurement in a browser of the same machine, to be seen from afar."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.listen import DeviceOption


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(page)


def page(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[NAME]",
            help="A belt or a pair of the machine file to begin with.",
            show_default=False,
        ),
    ] = None,
    demo: Annotated[
        bool, typer.Option("--demo", help="Simulated plucks: no microphone, an invented workshop.")
    ] = False,
    device: DeviceOption = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    unit: o.UnitOption = "N",
    host: Annotated[
        str,
        typer.Option(
            "--host", help="Address to serve at; any but this machine's own needs --token."
        ),
    ] = "127.0.0.1",
    port: Annotated[
        int | None, typer.Option("--port", min=1, max=65535, help="Port to serve at; default 8655.")
    ] = None,
    token: Annotated[
        str | None,
        typer.Option("--token", help="Secret a browser must show; at least 16 characters."),
    ] = None,
    no_open: Annotated[
        bool, typer.Option("--no-open", help="Only say the address; open no browser.")
    ] = False,
) -> None:
    """Show the measurement in a browser: the ruler, large figures, what to do next."""
    o.checked_unit(unit)
    from beltpitch.web.launch import LaunchOptions, serve

    file = None if demo else k.machine_for(machine)
    wanted = LaunchOptions(
        wish={"name": name} if name else {},
        machine=file,
        book=book,
        unit=unit,
        device=device,
        demo=demo,
        host=host,
        port=port,
        token=token,
    )
    serve(wanted, lambda address: _say(address, wanted.host, opens=not no_open))


def _say(address: str, host: str, *, opens: bool) -> None:
    sys.stderr.write(f"beltpitch: the page is at {address} (Ctrl-C ends it)\n")
    if host not in ("127.0.0.1", "localhost", "::1"):
        sys.stderr.write(
            f"beltpitch: it is open to every machine that reaches {host} and shows the token; "
            "nothing is encrypted\n"
        )
    sys.stderr.flush()
    if opens:
        import webbrowser

        webbrowser.open(address)
