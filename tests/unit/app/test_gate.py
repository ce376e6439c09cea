"""The gate: this machine only, our own pages only, one browser a key. Hosts and origins as an
attacker's page in the same browser, or a name pointed at 127.0.0.1, would send them."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from vertebloc.app.gate import NEEDS_KEY, NOT_HERE, Gate
from vertebloc.app.keys import Keys
from vertebloc.errors import InputError

PORT = 8123
OWN = ("host", f"127.0.0.1:{PORT}")


async def inner(scope, receive, send):
    assert receive is None
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"inside"})


def ask(keys, *headers, path="/", query="", kind="http"):
    sent = []
    scope = {
        "type": kind,
        "path": path,
        "query_string": query.encode(),
        "headers": [(name.encode(), value.encode()) for name, value in headers],
    }

    async def send(message):
        sent.append(message)

    gate = Gate(inner, port=PORT, keys=keys)
    with ThreadPoolExecutor(1) as aside:  # a browser test may have left a loop running here
        aside.submit(asyncio.run, gate(scope, None, send)).result()
    return sent


def let_in(keys):
    start, _ = ask(keys, OWN, query=f"key={keys.issue()}")
    cookie = dict(start["headers"])[b"set-cookie"].decode()
    return ("cookie", cookie.split(";")[0])


def test_a_key_opens_once_and_leaves_the_address_bar():
    keys = Keys()
    key = keys.issue()
    start, _ = ask(keys, OWN, path="/cuts", query=f"key={key}")
    headers = dict(start["headers"])
    assert start["status"] == 303
    assert headers[b"location"] == b"/cuts"
    cookie = headers[b"set-cookie"].decode()
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    start, body = ask(keys, OWN, query=f"key={key}")
    assert start["status"] == 403
    assert b"press Enter in the terminal" in body["body"]


def test_the_way_back_from_a_key_never_leads_to_another_machine():
    keys = Keys()
    start, _ = ask(keys, OWN, path="//elsewhere.example/x", query=f"key={keys.issue()}")
    assert dict(start["headers"])[b"location"] == b"/elsewhere.example/x"


def test_with_the_session_one_is_inside_and_nothing_goes_out():
    keys = Keys()
    start, body = ask(keys, OWN, let_in(keys))
    assert (start["status"], body["body"]) == (200, b"inside")
    policy = dict(start["headers"])[b"content-security-policy"].decode()
    assert "default-src 'self'" in policy
    assert "http://" not in policy.replace(f"127.0.0.1:{PORT}", "")
    assert "frame-ancestors 'none'" in policy


@pytest.mark.parametrize("cookie", ["", f"vertebloc-{PORT}=guess", "other=1", "vertebloc-8123"])
def test_without_a_session_nobody_is_inside(cookie):
    keys = Keys()
    let_in(keys)
    start, body = ask(keys, OWN, ("cookie", cookie))
    assert start["status"] == 403
    assert body["body"].decode() == NEEDS_KEY


@pytest.mark.parametrize(
    "headers",
    [
        [("host", "evil.example")],
        [("host", f"evil.example:{PORT}")],
        [("host", "127.0.0.1")],
        [],
        [OWN, ("origin", "http://evil.example")],
        [OWN, ("origin", f"https://127.0.0.1:{PORT}")],
        [OWN, ("origin", f"http://127.0.0.1:{PORT + 1}")],
        [OWN, ("origin", "null")],
    ],
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_foreign_hosts_and_origins_are_refused_even_with_the_session(headers, kind):
    keys = Keys()
    sent = ask(keys, *headers, let_in(keys), kind=kind)
    if kind == "websocket":
        assert [message["type"] for message in sent] == ["websocket.close"]
    else:
        assert sent[0]["status"] == 403
        assert sent[1]["body"].decode() == NOT_HERE


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_our_own_origin_may_open_the_socket(name):
    keys = Keys()
    host, origin = ("host", f"{name}:{PORT}"), ("origin", f"http://{name}:{PORT}")
    assert ask(keys, host, origin, let_in(keys), kind="websocket")[0]["type"] == "websocket.accept"
    assert ask(keys, host, origin, kind="websocket")[0]["type"] == "websocket.close"


def test_a_foreign_key_is_refused_in_one_line():
    with pytest.raises(InputError, match="press Enter in the terminal"):
        Keys().redeem("key of somebody else")
