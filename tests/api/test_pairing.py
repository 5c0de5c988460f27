"""A phone gets in by a code that works once, is known by its token, and is out when an owner says so."""

import asyncio
import re
import sqlite3
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import AsyncTestClient

from server.access import pairing
from server.access.access import Access
from server.access.guard import Doors
from server.access.secrets import CODE_LIFE_MS
from server.app import create_app
from server.store.database import FILE_NAME, Database
from shared_models.pairing import CodeWanted
from tests.api.conftest import SeenFrom
from tests.sync.making import added, batch, change, reading

Client = AsyncTestClient[Any]
SHOP = "https://192.168.1.20:8765"
PHONE, OTHER_PHONE = "192.168.1.51", "192.168.1.52"


class Shop:
    """A server for a network, its data, and a client that is nobody yet. `come_from` says who asks."""

    def __init__(self, access: Access, seen: SeenFrom, client: Client, data_dir: Path) -> None:
        self.access, self.seen, self.client, self.data_dir = access, seen, client, data_dir

    def come_from(self, address: str) -> None:
        self.seen.address = address

    async def code(self, role: Any = "technician", name: str = "bench 2") -> str:
        return (await self.access.desk.make_code(CodeWanted(phone_name=name, technician="Ada", role=role)))[0]

    async def pair(self, code: str) -> Any:
        return await self.client.post("/api/pair", json={"code": code})

    async def token(self, role: Any = "technician", name: str = "bench 2") -> dict[str, str]:
        """The header of a phone that was just paired."""
        return {"Authorization": f"Bearer {(await self.pair(await self.code(role, name))).json()['token']}"}


@pytest.fixture
async def shop(tmp_path: Path, built_app: Path) -> AsyncIterator[Shop]:
    access = Access(Doors(only_this_machine=False), pairs_itself=False, addresses=(SHOP,))
    seen = SeenFrom(create_app(tmp_path / "data", built_app, access=access), PHONE)
    async with AsyncTestClient(seen, base_url=SHOP, raise_server_exceptions=False) as client:
        yield Shop(access, seen, client, tmp_path / "data")


async def test_a_code_makes_a_phone_with_a_token_that_opens_the_record(shop: Shop) -> None:
    code = await shop.code()
    assert re.fullmatch(r"[2-9A-HJ-NP-Z]{4}-[2-9A-HJ-NP-Z]{4}", code)
    paired = (await shop.pair(code)).json()
    assert (paired["phone"]["name"], paired["phone"]["technician"], paired["phone"]["role"]) == (
        "bench 2", "Ada", "technician")
    header = {"Authorization": f"Bearer {paired['token']}"}
    assert (await shop.client.get("/api/changes?after=0", headers=header)).status_code == 200
    me = (await shop.client.get("/api/me", headers=header)).json()
    assert me["addresses"] == [SHOP] and me["phone"]["id"] == paired["phone"]["id"]


@pytest.mark.parametrize("typed", ["{0}", "{1}", " {1} ", "{2}", "{3}"])
async def test_a_code_is_taken_however_it_is_typed(shop: Shop, typed: str) -> None:
    code = await shop.code()
    plain = code.replace("-", "")
    written = typed.format(code, plain.lower(), " ".join(plain), plain)
    assert (await shop.pair(written)).status_code == 200


async def test_a_code_works_once_even_when_two_say_it_at_once(shop: Shop) -> None:
    code = await shop.code()
    both = await asyncio.gather(shop.pair(code), shop.pair(code))
    assert sorted(answer.status_code for answer in both) == [200, 403]
    again = (await shop.pair(code)).json()["problem"]
    assert again["code"] == "code_used" and "secondprobe pair" in again["example"]
    assert len(await shop.access.desk.list()) == 1


async def test_a_code_is_over_after_ten_minutes(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    code, now = await shop.code(), pairing.clock_ms()
    monkeypatch.setattr(pairing, "clock_ms", lambda: now + CODE_LIFE_MS + 1000)
    problem = (await shop.pair(code)).json()["problem"]
    assert problem["code"] == "code_over" and "ten minutes" in problem["message"]


@pytest.mark.parametrize("years", [14, -14])
async def test_a_code_made_while_the_servers_clock_was_years_off_is_over_once_it_is_right(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, years: int
) -> None:
    now = pairing.clock_ms()
    monkeypatch.setattr(pairing, "clock_ms", lambda: now + years * 31_557_600_000)
    code, used_at_once = await shop.code(), await shop.code()
    assert (await shop.pair(used_at_once)).status_code == 200, "a wrong clock keeps nobody out"
    monkeypatch.undo()
    assert (await shop.pair(code)).json()["problem"]["code"] == "code_over"


async def test_a_clock_that_is_put_back_by_some_seconds_leaves_a_fresh_code_good(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    code, now = await shop.code(), pairing.clock_ms()
    monkeypatch.setattr(pairing, "clock_ms", lambda: now - 20_000)
    assert (await shop.pair(code)).status_code == 200


async def test_when_a_phone_last_synced_is_noted_again_once_the_servers_clock_is_right(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone, now = await shop.token(), pairing.clock_ms()
    monkeypatch.setattr(pairing, "clock_ms", lambda: now + 14 * 31_557_600_000)
    for put_right in (False, True):
        if put_right:
            monkeypatch.undo()
        assert (await shop.client.get("/api/changes?after=0", headers=phone)).status_code == 200
    (noted,) = await shop.access.desk.list()
    assert noted.last_synced_at_ms is not None and abs(noted.last_synced_at_ms - now) < 600_000


async def test_that_phones_have_synced_is_noted_together_where_they_come_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, desk, transactions = await Database.open(tmp_path), pairing.Desk(), []
    desk.open(database)
    note_all = pairing._note_all

    async def counted(connection: Any, synced: Any) -> list[None]:
        transactions.append(len(synced))
        return await note_all(connection, synced)

    monkeypatch.setattr(pairing, "_note_all", counted)
    for n in range(20):
        code, _ = await desk.make_code(CodeWanted(phone_name=f"phone {n}", role="technician"))
        await desk.pair(code, "here")
    await asyncio.gather(*(desk.note_synced(phone) for phone in await desk.list()))
    assert sum(transactions) == 20
    assert len(transactions) <= 2
    assert all(phone.last_synced_at_ms for phone in await desk.list())
    await database.close()


async def test_on_a_full_disk_a_phone_still_fetches_though_nobody_notes_that_it_did(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone, full = await shop.token(), sqlite3.OperationalError("database or disk is full")
    full.sqlite_errorcode = sqlite3.SQLITE_FULL

    async def cannot_write(*_: Any) -> None:
        raise full

    monkeypatch.setattr(pairing.phones, "note_synced", cannot_write)
    assert (await shop.client.get("/api/changes?after=0", headers=phone)).status_code == 200
    assert (await shop.access.desk.list())[0].last_synced_at_ms is None


async def test_guessing_codes_is_stopped_and_the_right_one_waits_too(shop: Shop) -> None:
    code = await shop.code()
    statuses = [(await shop.pair(f"AAAA-22{n:02d}".replace("0", "Z").replace("1", "Y"))).status_code for n in range(40)]
    assert statuses[:5] == [403] * 5 and set(statuses[5:]) == {429}
    stopped = await shop.pair(code)
    assert stopped.status_code == 429 and 0 < int(stopped.headers["retry-after"]) <= 601
    shop.come_from(OTHER_PHONE)  # whoever mistypes does not keep the others out
    assert (await shop.pair(code)).status_code == 200


async def test_many_guesses_at_once_get_no_more_tries_than_one_after_another(shop: Shop) -> None:
    answers = await asyncio.gather(*(shop.pair(f"BBBB-{'23456789'[n % 8] * 4}") for n in range(60)))
    assert sum(answer.status_code == 403 for answer in answers) == 5


async def test_guessing_from_many_addresses_is_stopped_too(shop: Shop) -> None:
    statuses = []
    for sender in range(20):
        shop.come_from(f"192.168.1.{100 + sender}")
        statuses += [(await shop.pair("CCCC-2345")).status_code for _ in range(5)]
    assert statuses.count(403) == 50 and statuses[-1] == 429


async def test_a_revoked_phone_is_told_so_and_its_token_opens_nothing(shop: Shop) -> None:
    owner, phone = await shop.token("owner", "counter"), await shop.token()
    listed = (await shop.client.get("/api/phones", headers=owner)).json()["phones"]
    assert [one["name"] for one in listed].count("counter") == 1 and "token" not in str(listed)
    phone_id = next(one["id"] for one in listed if one["name"] == "bench 2")
    assert (await shop.client.get("/api/changes?after=0", headers=phone)).status_code == 200
    listed = (await shop.client.get("/api/phones", headers=owner)).json()["phones"]
    assert next(one for one in listed if one["id"] == phone_id)["last_synced_at_ms"] > 0

    revoked = (await shop.client.post(f"/api/phones/{phone_id}/revoke", headers=owner)).json()
    assert revoked["revoked_at_ms"] > 0
    for method, path in (("GET", "/api/changes?after=0"), ("POST", "/api/changes"), ("GET", "/api/me")):
        answer = await shop.client.request(method, path, headers=phone)
        assert answer.status_code == 401 and answer.json()["problem"]["code"] == "revoked"
    assert "stays on it" in answer.json()["problem"]["message"]
    assert "bearer" in answer.headers["www-authenticate"].lower()
    assert (await shop.client.post("/api/phones/nobody/revoke", headers=owner)).status_code == 404


async def test_a_technician_pairs_and_revokes_nobody(shop: Shop) -> None:
    phone = await shop.token()
    for method, path in (("POST", "/api/codes"), ("GET", "/api/phones"), ("POST", "/api/phones/x/revoke")):
        answer = await shop.client.request(method, path, headers=phone, json={"phone_name": "mine"})
        assert (answer.status_code, answer.json()["problem"]["code"]) == (403, "owner_only")


async def test_an_owner_makes_a_code_with_a_link_and_a_picture_of_it(shop: Shop) -> None:
    owner = await shop.token("owner")
    made = (await shop.client.post("/api/codes", headers=owner, json={"phone_name": "bench 3"})).json()
    assert made["link"] == f"{SHOP}/#/pair/{made['code']}"
    assert len(made["qr"]) == len(made["qr"][0]) and set("".join(made["qr"])) == {"0", "1"}
    assert (await shop.pair(made["code"])).json()["phone"]["name"] == "bench 3"


@pytest.mark.parametrize("header", [
    {}, {"Authorization": "Bearer"}, {"Authorization": "Bearer "}, {"Authorization": "Basic YTpi"},
    {"Authorization": "Bearer nobody"}, {"Authorization": "Bearer \xe9"}, {"Cookie": "token=x"},
])
async def test_what_is_no_token_opens_nothing(shop: Shop, header: dict[str, str]) -> None:
    sent = {name.encode(): value.encode("latin-1") for name, value in header.items()}
    answer = await shop.client.get("/api/changes?after=0", headers=sent)
    assert (answer.status_code, answer.json()["problem"]["code"]) == (401, "not_paired")


async def test_wrong_tokens_are_stopped_and_never_hold_up_a_good_one(shop: Shop) -> None:
    good = await shop.token()
    statuses = [
        (await shop.client.get("/api/me", headers={"Authorization": f"Bearer guess-{n}"})).status_code
        for n in range(40)
    ]
    assert statuses[0] == 401 and statuses[-1] == 429
    assert (await shop.client.get("/api/me", headers=good)).status_code == 200


async def test_its_own_machine_needs_a_code_too_on_a_network(shop: Shop) -> None:
    shop.come_from("127.0.0.1")
    answer = await shop.client.post("/api/pair-here")
    assert (answer.status_code, answer.json()["problem"]["code"]) == (403, "not_here")


async def test_neither_token_nor_code_is_in_any_file(shop: Shop) -> None:
    code = await shop.code()
    token = (await shop.pair(code)).json()["token"]
    waiting = await shop.code()
    kept = b"".join(path.read_bytes() for path in shop.data_dir.rglob("*") if path.is_file())
    assert (shop.data_dir / FILE_NAME).exists() and len(kept) > 10_000
    for secret in (token, code, code.replace("-", ""), waiting, waiting.replace("-", "")):
        assert secret.encode() not in kept


@pytest.mark.parametrize("path", [
    "//api/changes?after=0", "/api//changes?after=0", "/./api/changes?after=0", "/%61pi/changes?after=0",
    "/api/changes/?after=0", "/API/changes?after=0", "/index.html/../api/changes?after=0", "/api/health/../changes",
    "/assets/../api/changes?after=0", "/api/pair/../changes?after=0", "/schema/openapi.json", "/api/photos/" + "0" * 64,
])
async def test_no_spelling_of_a_path_gets_past_the_token(shop: Shop, path: str) -> None:
    scope = {
        "type": "http", "method": "GET", "path": path.partition("?")[0].replace("%61", "a"), "raw_path": path.encode(),
        "query_string": path.partition("?")[2].encode(), "headers": [(b"host", b"192.168.1.20:8765")],
        "client": (PHONE, 1), "server": ("192.168.1.20", 8765), "scheme": "https", "http_version": "1.1",
    }
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "http.request", "body": b""}

    async def send(message: Any) -> None:
        sent.append(message)

    await shop.seen.app(scope, receive, send)
    assert sent[0]["status"] == 401


@pytest.mark.parametrize(("address", "admitted"), [
    ("192.168.7.9", True), ("10.1.2.3", True), ("172.31.0.1", True), ("fd12::1", True), ("fe80::1%eth0", True),
    ("::ffff:192.168.1.9", True), ("8.8.8.8", False), ("172.32.0.1", False), ("2001:db8::1", False),
    ("::ffff:8.8.8.8", False), ("100.64.0.1", False), ("", False), ("nobody", False),
])
async def test_only_the_shops_own_network_is_answered(shop: Shop, address: str, admitted: bool) -> None:
    shop.come_from(address)
    for path in ("/api/health", "/", "/sw.js"):
        assert ((await shop.client.get(path)).status_code == 200) is admitted


@pytest.mark.parametrize("host", ["shop.example", "192.168.1.20.shop.example", "8.8.8.8", "", "["])
async def test_a_foreign_name_that_points_here_is_refused(shop: Shop, host: str) -> None:
    header = {**await shop.token(), "Host": host}
    for path in ("/api/me", "/", "/api/health"):
        assert (await shop.client.get(path, headers=header)).status_code == 403


async def test_what_a_refused_phone_sent_is_stored_once_it_is_paired(shop: Shop) -> None:
    content = batch(change(1, added(reading())))
    kind = {"Content-Type": "application/json"}
    assert (await shop.client.post("/api/changes", content=content, headers=kind)).status_code == 401
    header = {**await shop.token(), **kind}
    answer = await shop.client.post("/api/changes", content=content, headers=header)
    assert answer.json()["answers"][0]["result"] == "stored"


