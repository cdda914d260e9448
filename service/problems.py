"""The one table of what can go wrong over HTTP, and the problem documents (RFC 9457) made from it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True)
class Kind:
    """One row of the table: a status and what a program or a person is told in general."""

    status: int
    title: str


KINDS = {
    "not-json": Kind(400, "The request's body is not JSON"),
    "no-token": Kind(401, "A token is needed"),
    "other-site": Kind(403, "Requests from other sites are not taken"),
    "not-found": Kind(404, "There is nothing here"),
    "wrong-method": Kind(405, "This address is not used that way"),
    "too-large": Kind(413, "The upload is too large"),
    "not-an-image": Kind(415, "The upload is not a picture"),
    "wrong-host": Kind(421, "This address is not served here"),
    "broken-image": Kind(422, "The picture is broken"),
    "wrong-request": Kind(422, "The request can't be understood"),
    "wrong-evidence": Kind(422, "The evidence can't be used"),
    "fault": Kind(500, "A fault of the program"),
    "busy": Kind(503, "All benches are taken"),
}


class Problem(Exception):  # noqa: N818 - RFC 9457's own word
    """What stopped a request.

    Parameters
    ----------
    kind : str
        A key of ``KINDS``.
    detail : str
        One line: what, where, how to mend it.
    headers : dict, optional
        Further headers of the answer, such as ``Retry-After``.
    more : dict, optional
        Further members of the document.
    """

    def __init__(
        self,
        kind: str,
        detail: str,
        *,
        headers: dict[str, str] | None = None,
        more: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(detail)
        self.kind, self.detail, self.headers, self.more = kind, detail, headers or {}, more or {}

    @property
    def status(self) -> int:
        """The HTTP status."""
        return KINDS[self.kind].status

    @property
    def title(self) -> str:
        """The general word for it, the same for every problem of this kind."""
        return KINDS[self.kind].title

    def document(self) -> dict[str, Any]:
        """Return the RFC 9457 members."""
        return {
            "type": f"urn:whichrotor:problem:{self.kind}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            **self.more,
        }

    def response(self) -> JSONResponse:
        """Return the answer as it goes out."""
        return JSONResponse(self.document(), self.status, self.headers, MEDIA_TYPE)


Answer = Callable[[Request, Problem], Response]
"""Makes the response of a problem: a document for a program, a page for a person."""
