"""``whichrotor serve``: the web pages and the API, for this machine or, with a token, for phones nearby."""

import os
import socket
import sys
from argparse import ArgumentParser
from pathlib import Path

import segno
import uvicorn
from fastapi import FastAPI
from sqlalchemy.exc import SQLAlchemyError

from catalogue import AssumptionsError, CatalogueError
from service.access import lan_address, link, new_token
from service.app import create_app
from service.commands import CommandFault, catalogue_fault
from service.commands.photo_arguments import say
from service.settings import Settings, settings_from

EVERYWHERE = "0.0.0.0"


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("--host", metavar="H", help="address to listen on; 127.0.0.1 where not given")
    parser.add_argument("--port", type=int, metavar="P", help="port; 8000 where not given, 0 takes a free one")
    parser.add_argument("--catalogue", type=Path, metavar="DIR", help="folder of CSV files; the demo where not given")
    parser.add_argument("--lan", action="store_true", help="let phones nearby in: prints a link and QR code")


def run(host: str | None, port: int | None, catalogue: Path | None, lan: bool) -> int:
    """Serve until interrupted."""
    settings = _settings(host or (EVERYWHERE if lan else None), port, catalogue, lan=lan)
    listener = _listen(settings)
    server = uvicorn.Server(uvicorn.Config(_app(settings), log_level="warning", access_log=False))
    _print_link(settings, listener.getsockname()[1])
    server.run(sockets=[listener])
    return 0


def _settings(host: str | None, port: int | None, catalogue: Path | None, *, lan: bool) -> Settings:
    try:
        token = (os.environ.get("WHICHROTOR_TOKEN") or new_token()) if lan else None
        return settings_from(os.environ, host=host, port=port, catalogue=catalogue, token=token)
    except ValueError as fault:
        raise CommandFault(str(fault)) from None


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    try:
        return socket.create_server((settings.host, settings.port), family=family)
    except OSError as fault:
        why = fault.strerror or fault
        raise CommandFault(
            f"can't listen on {settings.host} port {settings.port} ({why}); choose others with --host and --port"
        ) from None


def _app(settings: Settings) -> FastAPI:
    try:
        return create_app(settings)
    except CatalogueError as fault:
        raise catalogue_fault(settings.catalogue, fault) from None
    except AssumptionsError as fault:
        raise CommandFault(str(fault)) from None
    except (SQLAlchemyError, OSError) as fault:
        why = str(fault).splitlines()[0]
        raise CommandFault(f"the cases' database can't be used: {why}; see WHICHROTOR_DATABASE_URL") from None


def _print_link(settings: Settings, port: int) -> None:
    address = link(_reachable(settings.host), port, settings.token)
    print(f"Whichrotor: {address}", flush=True)
    if settings.token:
        segno.make(address, error="m").terminal(out=sys.stdout, compact=True)
        print("Scan it with a phone on the same network. Ctrl-C ends the service.", flush=True)


def _reachable(host: str) -> str:
    if host not in (EVERYWHERE, "::"):
        return host
    try:
        return lan_address()
    except OSError:
        say("No network was found: the link serves this machine only.")
        return "127.0.0.1"
