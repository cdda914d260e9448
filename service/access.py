"""Who may come in: this machine freely, others with the token; and nobody by way of another site."""

import ipaddress
import secrets
import socket
from http.cookies import SimpleCookie
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from service.problems import Answer, Problem
from service.settings import Settings

COOKIE = "whichrotor"
COOKIE_DAYS = 30
_PARAMETER = "token"
_READING = ("GET", "HEAD", "OPTIONS")
_OPEN = "/static/"  # style sheets and scripts say nothing, and the page that asks for the token needs them


class Access:
    """ASGI middleware: lets a request in, or answers with a problem.

    A token comes as ``Authorization: Bearer``, as the cookie that a link sets, or in the link itself
    (``?token=``), which is answered by a redirect without it, so that it stays in no history.

    Parameters
    ----------
    app : ASGIApp
        What lies behind.
    settings : Settings
    answer : callable
        Makes a response of a request and its problem.
    """

    def __init__(self, app: ASGIApp, settings: Settings, answer: Answer) -> None:
        self._app, self._settings, self._make_answer = app, settings, answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass ``scope`` on, or answer it here."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        answer = self._answer(scope)
        await (answer or self._app)(scope, receive, send)

    def _answer(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        try:
            self._check_site(scope["method"], headers)
            return self._check_token(scope, headers)
        except Problem as problem:
            return self._make_answer(Request(scope), problem)

    def _check_site(self, method: str, headers: Headers) -> None:
        if method not in _READING and headers.get("sec-fetch-site") in ("cross-site", "same-site"):
            raise Problem("other-site", "Another site sent this; open Whichrotor itself and send it from there.")
        if self._settings.is_loopback and not _is_local(headers.get("host", "localhost")):
            # A name that merely resolves to this machine is how a foreign page reads a local service.
            raise Problem("wrong-host", "Open this as http://localhost or http://127.0.0.1, with the port.")

    def _check_token(self, scope: Scope, headers: Headers) -> Response | None:
        token = self._settings.token
        if token is None or (scope["method"] in _READING and scope["path"].startswith(_OPEN)):
            return None
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        if scope["method"] in _READING and _same(dict(query).get(_PARAMETER), token):
            return _let_in(scope["path"], query, token)
        if not _same(_bearer(headers), token) and not _same(_cookie(headers), token):
            raise Problem(
                "no-token",
                "Open the link that 'whichrotor serve' printed, scan its code, or give the token that stands at the "
                "link's end; a program sends it as 'Authorization: Bearer …'.",
                headers={"WWW-Authenticate": "Bearer"},
            )
        return None


def new_token() -> str:
    """Return a token nobody can guess."""
    return secrets.token_urlsafe(18)


def lan_address() -> str:
    """Return this machine's address on the network that leads outward.

    Raises
    ------
    OSError
        Where there is no network.
    """
    # Connecting a datagram socket sends nothing; it only asks which way the packet would go.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        return str(probe.getsockname()[0])


def link(host: str, port: int, token: str | None) -> str:
    """Return the address to open."""
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}/" + (f"?{urlencode({_PARAMETER: token})}" if token else "")


def _let_in(path: str, query: list[tuple[str, str]], token: str) -> Response:
    rest = urlencode([pair for pair in query if pair[0] != _PARAMETER])
    safe_path = "/" + path.lstrip("/")  # "//host" would lead elsewhere
    answer = RedirectResponse(safe_path + (f"?{rest}" if rest else ""), status_code=303)
    answer.set_cookie(COOKIE, token, max_age=COOKIE_DAYS * 86400, httponly=True, samesite="lax")
    answer.headers["Referrer-Policy"] = "no-referrer"
    return answer


def _is_local(host: str) -> bool:
    name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        return ipaddress.ip_address(name.strip("[]")).is_loopback
    except ValueError:
        return False


def _same(given: str | None, token: str) -> bool:
    return given is not None and secrets.compare_digest(given.encode(), token.encode())


def _bearer(headers: Headers) -> str | None:
    scheme, _, given = headers.get("authorization", "").partition(" ")
    return given.strip() if scheme.lower() == "bearer" else None


def _cookie(headers: Headers) -> str | None:
    morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    return morsel.value if morsel else None
