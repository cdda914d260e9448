"""No upload larger than allowed gets in, said beforehand or not."""

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.problems import Answer, Problem
from service.settings import MIB


class UploadLimit:
    """ASGI middleware that turns away bodies of more than ``limit_bytes``; ``answer`` makes the response."""

    def __init__(self, app: ASGIApp, limit_bytes: int, answer: Answer) -> None:
        self._app, self._limit_bytes, self._answer = app, limit_bytes, answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass ``scope`` on while its body stays within the limit."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        told = Headers(scope=scope).get("content-length", "0")
        if told.isdigit() and int(told) > self._limit_bytes:
            await self._answer(Request(scope), self._problem())(scope, receive, send)
            return
        await self._app(scope, self._counted(receive), send)

    def _counted(self, receive: Receive) -> Receive:
        seen_bytes = 0

        async def counted() -> Message:
            nonlocal seen_bytes
            message = await receive()
            seen_bytes += len(message.get("body", b""))
            if seen_bytes > self._limit_bytes:
                raise self._problem()
            return message

        return counted

    def _problem(self) -> Problem:
        return Problem(
            "too-large",
            f"At most {self._limit_bytes / MIB:.0f} MB are taken at once; send the photo as the phone took it, "
            "a smaller copy, or fewer photos at a time.",
        )
