"""The gate before every request: this machine only, this browser only, nothing goes out."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from vertebloc.app.keys import Keys
from vertebloc.errors import InputError

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

NEEDS_KEY = (
    "This address needs its key. Press Enter in the terminal where vertebloc runs: "
    "it prints a new address."
)
NOT_HERE = "vertebloc answers on this machine only, under the address it printed."


class Gate:
    """Let through what comes from our own pages in a browser that once showed a key.

    Refused: a Host that is not this machine (a foreign name may have been pointed at
    127.0.0.1), an Origin that is not ours (another page in the same browser), no session.
    """

    def __init__(self, app: App, *, port: int, keys: Keys) -> None:
        self._app = app
        self._keys = keys
        self._cookie = f"vertebloc-{port}"
        self._hosts = frozenset({f"127.0.0.1:{port}", f"localhost:{port}"})
        self._origins = frozenset(f"http://{host}" for host in self._hosts)
        own = " ".join(f"ws://{host}" for host in sorted(self._hosts))
        # the page's framework compiles templates and styles in place: hence the two unsafe words
        policy = (
            "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; "
            f"connect-src 'self' data: blob: {own}; frame-ancestors 'none'; form-action 'self'"
        )
        self._headers = [
            (b"content-security-policy", policy.encode()),
            (b"referrer-policy", b"no-referrer"),
            (b"x-content-type-options", b"nosniff"),
            (b"x-frame-options", b"DENY"),
        ]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse, or hand on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): value.decode("latin-1")
                   for name, value in scope["headers"]}  # fmt: skip
        if headers.get("host", "") not in self._hosts or headers.get("origin", "") not in {
            "",
            *self._origins,
        }:
            await _refuse(scope, send, NOT_HERE)
        elif scope["type"] == "http" and (key := _key_in(scope)):
            await self._let_in(scope, send, key)
        elif not self._keys.knows(_cookie(headers.get("cookie", ""), self._cookie)):
            await _refuse(scope, send, NEEDS_KEY)
        else:
            await self._app(scope, receive, self._with_headers(send))

    async def _let_in(self, scope: Scope, send: Send, key: str) -> None:
        """Change the key for a cookie, and take it out of the address bar."""
        try:
            session = self._keys.redeem(key)
        except InputError as error:
            await _refuse(scope, send, str(error))
            return
        cookie = f"{self._cookie}={session}; HttpOnly; SameSite=Strict; Path=/"
        path = "/" + scope["path"].lstrip("/")  # two slashes would name another machine
        to = (b"location", path.encode("latin-1", "replace"))
        headers = [to, (b"set-cookie", cookie.encode()), (b"cache-control", b"no-store")]
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})

    def _with_headers(self, send: Send) -> Send:
        async def send_on(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *self._headers]
            await send(message)

        return send_on


def _key_in(scope: Scope) -> str:
    query: bytes = scope.get("query_string", b"")
    return parse_qs(query.decode("latin-1")).get("key", [""])[0]


def _cookie(header: str, name: str) -> str:
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return ""
    return str(found.value) if found else ""


async def _refuse(scope: Scope, send: Send, words: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008, "reason": words[:120]})
        return
    body = words.encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
    ]
    await send({"type": "http.response.start", "status": 403, "headers": headers})
    await send({"type": "http.response.body", "body": body})
