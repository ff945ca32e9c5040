"""The record screens behind guard and gate, as a browser's requests meet them.

Nobody in without a session, no form from elsewhere, nobody beyond their role, nothing of one reader on another's shelf; and the
way of a case from its first plan to its recall.
"""

import re
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyotp
import pytest
from starlette.datastructures import UploadFile
from starlette.requests import Request

from canalwright import casefile
from canalwright.casefile import Case
from canalwright.guide import Event
from canalwright.planning import Plan
from canalwright.records import Kind, Passphrase, Store
from canalwright.records.accounts import AccessLog
from canalwright.records.errors import SessionEnded
from canalwright.web.chairbook import ChairbookError
from canalwright.web.office import Office
from canalwright.web.reader import reads
from canalwright.web.records.asking import read_form
from canalwright.web.records.gate import Gate
from canalwright.web.records.house import House
from tests.records.conftest import CHEAP, Clock
from tests.support.recordroom import FILM, GOOD, NEW, PLACE, SECRET, Browser, ann, browser, clock, filled_case, house

__all__ = ["ann", "browser", "clock", "house"]


@pytest.mark.parametrize("path", ["/records/", "/shelf", "/records/outcomes", "/records/here", "/records/keeping"])
async def test_nobody_gets_in_without_a_session(browser: Browser, path: str) -> None:
    answer = await browser.client.get(path)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/records/sign-in?back=")
    assert (await browser.client.get(path, headers={"accept": "*/*"})).status_code == 401


async def test_a_socket_needs_a_session_too(house: House) -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        raise AssertionError("nothing is read from a stranger")

    scope = {"type": "websocket", "path": "/_nicegui_ws/socket.io/", "headers": [], "query_string": b""}
    await Gate(receive, house)(scope, receive, send)  # type: ignore[arg-type]
    assert sent == [{"type": "websocket.close", "code": 1008}]


async def test_signing_in_and_out(browser: Browser, house: House) -> None:
    assert (await browser.sign_in(password="wrong wrong wrong")).status_code == 401
    assert "name, password or code is wrong" in browser.page.text
    assert "New case" in (await browser.sign_in()).text
    cookie = next(h for h in browser.page.history[0].headers.get_list("set-cookie") if h.startswith("canalwright="))
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie and "Path=/" in cookie
    assert browser.page.headers["cache-control"] == "no-store"
    token = browser.client.cookies["canalwright"]
    name = house.door.session(token).name
    scan = house.office.scans.receive("invented scan", name)
    house.cleaned.put(token, name, b"invented study")
    await browser.send("/records/sign-out")
    assert not scan.folder.exists() and not house.office.scans.listed(name) and not len(house.cleaned), "nothing stays"
    browser.client.cookies.set("canalwright", token)
    assert "sign-in" in str((await browser.get("/records/")).url), "the token itself is good no more"
    acts = [line.act for line in AccessLog(house.store.vault).read()]
    assert {"signed in", "signed out", "sign-in refused"} <= set(acts)


async def test_with_tls_the_cookie_is_secure_and_bound_to_the_host(house: House) -> None:
    house.secure = True
    made = Browser(house, "https://127.0.0.1:8765")
    async with made.client:
        answer = await made.sign_in()
        cookie = next(
            h for h in answer.history[0].headers.get_list("set-cookie") if h.startswith("__Host-canalwright=")
        )
        assert "Secure" in cookie and "Domain" not in cookie
        assert "max-age" in answer.headers["strict-transport-security"]


async def test_a_token_set_before_signing_in_is_not_taken_over(browser: Browser, house: House) -> None:
    browser.client.cookies.set("canalwright", "fixed-by-somebody-else", domain="127.0.0.1", path="/")
    await browser.sign_in()
    assert browser.client.cookies.get("canalwright", domain="127.0.0.1") != "fixed-by-somebody-else"
    with pytest.raises(SessionEnded):
        house.door.session("fixed-by-somebody-else")


async def test_many_tries_have_to_wait(browser: Browser) -> None:
    for _ in range(5):
        await browser.sign_in(password="wrong wrong wrong")
    answer = await browser.sign_in()
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) > 0


async def test_idle_session_locks_and_goes_on_with_a_new_token(ann: Browser, clock: Clock) -> None:
    before = ann.client.cookies["canalwright"]
    clock.forward(minutes=11)
    page = await ann.get("/records/recalls")
    assert "Locked after a pause" in page.text and "/records/unlock?back=" in str(page.url)
    assert "Recalls overdue" not in page.text
    page = await ann.send(str(page.url), password=GOOD)
    assert str(page.url).endswith("/records/") or str(page.url).endswith("/records/recalls")
    assert ann.client.cookies["canalwright"] != before


async def test_a_form_from_elsewhere_changes_nothing(ann: Browser, house: House) -> None:
    """Without the token of the form, without an origin, or with another's: refused."""
    case = filled_case(house)
    path, fields = f"/records/case/{case}/note", {"text": "forged"}
    here = {"origin": PLACE}
    assert (await ann.client.post(path, data=fields, headers=here)).status_code == 403
    assert (await ann.client.post(path, data={**fields, "csrf": "0" * 64}, headers=here)).status_code == 403
    await ann.get("/records/")
    token = re.search(r'name="csrf" value="(\w+)"', ann.page.text)
    assert token
    good = {**fields, "csrf": token[1]}
    assert (await ann.client.post(path, data=good)).status_code == 403
    assert (await ann.client.post(path, data=good, headers={"origin": "https://elsewhere.example"})).status_code == 403
    assert (await ann.client.post(path, content=b"{}", headers=here)).status_code == 415
    assert not [e for e in house.store.cases.events(case) if e.kind is Kind.NOTE]


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere", "javascript:alert(1)"]
)
async def test_no_way_back_to_another_site(browser: Browser, back: str) -> None:
    await browser.get("/records/sign-in")
    answer = await browser.send("/records/sign-in", name="ann", password=GOOD, back=back)
    assert str(answer.url) == f"{PLACE}/records/"


async def test_the_first_user_needs_the_key_that_the_server_printed(tmp_path: Path) -> None:
    with Store.create(tmp_path / "fresh", Passphrase(SECRET), cost=CHEAP) as store:
        house = House.of(store, Office.of(casefile.generic_tray()), cost=CHEAP)
        made = Browser(house)
        async with made.client:
            assert (await made.get("/records/first?key=guessed")).status_code == 404
            await made.get(f"/records/first?key={house.first_key}")
            answer = await made.send("/records/first", key=house.first_key, name="ann", password="short", again="short")
            assert answer.status_code == 422 and "at least 12" in answer.text
            await made.send("/records/first", key=re.findall(r'name="key" value="([^"]+)"', answer.text)[0], name="ann",
                            password=GOOD, again=GOOD)  # fmt: skip
            assert (await made.sign_in()).status_code == 200
            assert (await made.get("/records/first?key=")).status_code == 404
        house.office.bench.close()


async def test_a_given_password_is_changed_first(browser: Browser, ann: Browser, house: House) -> None:
    page = await ann.get("/records/users")
    page = await ann.send("/records/users", name="new", role="assistant")
    given = re.search(r"with: ([\w-]+)", page.text)
    assert given
    other = Browser(house)
    async with other.client:
        page = await other.sign_in("new", given[1])
        assert "was given to you" in page.text
        await other.send("/records/choose", name="new", old=given[1], password=NEW, again=NEW)
        assert "Cases" in (await other.sign_in("new", NEW)).text


async def test_a_second_factor_is_asked_for_once_set_up(ann: Browser, house: House, clock: Clock) -> None:
    await ann.get("/records/me")
    assert (await ann.send("/records/me/factor/confirm", code="123456")).status_code == 422, (
        "never without the password"
    )
    await ann.get("/records/me")
    page = await ann.send("/records/me/factor", password=GOOD)
    secret = re.search(r"<code>([A-Z2-7 ]+)</code>", page.text)
    assert secret
    maker = pyotp.TOTP(secret[1].replace(" ", ""))
    await ann.send("/records/me/factor/confirm", code=maker.at(clock().timestamp()))
    clock.forward(minutes=2)
    assert (await ann.sign_in()).status_code == 401
    assert (await ann.sign_in(code=maker.at(clock().timestamp()))).status_code == 200


async def test_a_role_sees_what_it_may(house: House) -> None:
    mine, others = filled_case(house, "stu"), filled_case(house, "ann")
    stu, rea = Browser(house), Browser(house)
    async with stu.client, rea.client:
        await stu.sign_in("stu")
        await rea.sign_in("rea")
        assert (await stu.get(f"/records/case/{mine}")).status_code == 200
        assert (await stu.get(f"/records/case/{others}")).status_code == 404
        assert others not in (await stu.get("/records/")).text
        assert (await stu.get("/records/users")).status_code == 403
        page = await rea.get(f"/records/case/{mine}")
        assert "Enter a recall" not in page.text and "Withdraw" not in page.text
        assert (await rea.get(f"/records/case/{mine}/recall")).status_code == 200
        assert (await rea.send(f"/records/case/{mine}/note", text="no")).status_code == 403
        assert (await rea.get("/records/recalls.ics")).status_code == 403


async def test_shelves_are_apart(house: House) -> None:
    stu, eve = Browser(house), Browser(house)
    async with stu.client, eve.client:
        await stu.sign_in("stu")
        await eve.sign_in("eve")
        assert (await stu.get("/shelf")).text == "stu 1"
        with_case = house.shelf._shelves["stu"].listed()[0][0]
        assert (await eve.get(f"/records/keep/{with_case}/0")).status_code == 404
        assert (await eve.get("/shelf")).text == "eve 1"


async def test_from_plan_to_recall(ann: Browser, house: House, case: Case, plan: Plan, clock: Clock) -> None:
    """A plan is kept with its case file, opens again as it was, the tooth is filled, a year later two readers grade the film."""

    async def planned(*_: Any) -> Plan:
        return plan

    house.office.bench.plan = planned  # type: ignore[method-assign]
    await ann.get("/shelf")
    key = house.shelf._shelves["ann"].put(case)
    page = await ann.get(f"/records/keep/{key}/2?activation=3")
    assert "a new case" in page.text
    page = await ann.send(f"/records/keep/{key}/2?activation=3", case="new", name="Ada Invented", index_before="4")
    name = str(page.url).rsplit("/", 1)[1]
    assert "distal" in page.text and "Ada" not in page.text
    assert "Ada Invented" in (await ann.get(f"/records/case/{name}?who=1")).text
    events = house.store.cases.events(name)
    assert [e.kind for e in events] == [Kind.CASE, Kind.MEASUREMENT, Kind.PLAN]
    assert events[2].field("plan", "heat", "margin", "value") is not None

    house.shelf.clear("ann")
    answer = await ann.client.get(f"/records/case/{name}/plan/{events[2].seq}")
    assert answer.headers["location"] == f"/case/{key}/2/plan?activation=3"
    assert house.shelf._shelves["ann"].get(key) is not None
    await ann.get(f"/records/keep/{key}/2?activation=4")
    assert f'value="{name}" selected' in ann.page.text, "it is known where the case came from"
    await ann.send(f"/records/keep/{key}/2?activation=4", case=name)
    kinds = [e.kind for e in house.store.cases.events(name)]
    assert kinds.count(Kind.MEASUREMENT) == 1 and kinds.count(Kind.PLAN) == 2, "the same case file is kept once"

    today = clock().date()
    ahead = (today + timedelta(days=365)).isoformat()
    bad = await ann.send(f"/records/case/{name}/filled", on=ahead, short_mm="0,7", void_percent="2")
    assert bad.status_code == 422 and f"the filling of {ahead} lies in the future" in bad.text
    assert all(f'value="{typed}"' in bad.text for typed in (ahead, "0,7", "2")), "nothing typed is lost"
    page = await ann.send(f"/records/case/{name}/filled", on=(today - timedelta(days=380)).isoformat(), short_mm="0,5")
    assert "Enter a recall" in page.text
    await ann.get(f"/records/case/{name}/recall")
    recall = {
        "on": today.isoformat(), "percussion": "no", "restoration": "yes", "reader_1": "ann", "reader_2": "bob",
        "root_0": "distal", "index_0_1": "2", "index_0_2": "3", "agreed_0": "2",
    }  # fmt: skip
    bad = await ann.send(f"/records/case/{name}/recall", **{**recall, "reader_2": "ann"})
    assert bad.status_code == 422 and "two readers are two persons" in bad.text
    assert re.search(r'name="root_0" value="distal"', bad.text)
    page = await ann.send(f"/records/case/{name}/recall", files={"films": ("../../x.jpg", FILM)}, **recall)
    assert "healed" in page.text
    link = re.search(rf"/records/case/{name}/image/I-[\w-]+", page.text)
    assert link and (await ann.get(link[0])).content == FILM
    visit = next(e for e in house.store.cases.events(name) if e.kind is Kind.RECALL)
    assert visit.field("index") == {"distal": {"ann": 2, "bob": 3}} and visit.field("agreed") == {"distal": 2}


async def test_an_upload_that_is_no_film_is_refused_and_nothing_kept(ann: Browser, house: House) -> None:
    case = filled_case(house)
    await ann.get(f"/records/case/{case}/recall")
    answer = await ann.send(
        f"/records/case/{case}/recall", files={"films": ("x.png", b"<script>")}, on=date(2026, 11, 25).isoformat()
    )
    assert answer.status_code == 422 and "neither PNG" in answer.text
    assert not [e for e in house.store.cases.events(case) if e.kind in (Kind.RECALL, Kind.IMAGE)]
    long = await ann.client.post("/records/new", content=b"x" * (3 << 20), headers={"origin": PLACE})
    assert long.status_code == 413


async def test_lists_recalls_calendar_and_history(ann: Browser, house: House) -> None:
    case = filled_case(house)
    for path in ("/records/", "/records/recalls", "/records/?status=filled"):
        assert case in (await ann.get(path)).text
    assert "overdue" in (await ann.get("/records/recalls")).text
    assert case not in (await ann.get("/records/?status=closed")).text
    assert b"BEGIN:VCALENDAR" in (await ann.get("/records/recalls.ics")).content
    await ann.get(f"/records/case/{case}")
    await ann.send(f"/records/case/{case}/note", text="<b>hostile</b>")
    assert "&lt;b&gt;hostile" in ann.page.text and "<b>hostile" not in ann.page.text
    seq = house.store.cases.events(case)[-1].seq
    await ann.send(f"/records/case/{case}/withdraw", seq=str(seq), reason="a slip")
    assert "hostile" not in ann.page.text
    assert any(e.kind is Kind.CORRECTION for e in house.store.cases.events(case))


async def test_outcomes_refuse_few_and_hand_out_files(ann: Browser, house: House) -> None:
    filled_case(house)
    page = await ann.get("/records/outcomes?factor=tooth+group&of=loss")
    assert "Not drawn" in page.text and "too few" in page.text and "Ng 2008" in page.text
    assert "0 events carry too little" in page.text
    assert (await ann.get("/records/outcomes/success.csv")).headers["content-disposition"].startswith("attachment")
    assert (await ann.get("/records/outcomes/survival.svg")).text.startswith("<svg")
    assert (await ann.get("/records/outcomes/keys.json")).status_code == 404


async def test_keeping(ann: Browser, house: House) -> None:
    await ann.get("/records/keeping")
    assert "restored on trial and good" in (await ann.send("/records/keeping/back-up")).text
    assert "as they were written" in (await ann.send("/records/keeping/verify")).text
    assert len(house.store.backups.all()) == 1


async def test_every_screen_has_a_strict_policy_and_the_caution(ann: Browser) -> None:
    for path in ("/records/", "/records/new", "/records/me", "/records/outcomes", "/records/users"):
        page = await ann.get(path)
        policy = page.headers["content-security-policy"]
        assert "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert "Not a certified medical device" in page.text
        assert " style=" not in page.text and "onclick" not in page.text


async def test_what_was_done_at_the_chair_is_sealed_ones_own_and_kept_with_the_case(
    ann: Browser, house: House, clock: Clock, case: Case, plan: Plan
) -> None:
    clock.now = datetime.now(UTC)  # the chair goes by the true time, and a filling of tomorrow is refused
    await ann.sign_in()

    async def planned(*_: Any) -> Plan:
        return plan

    house.office.bench.plan = planned  # type: ignore[method-assign]
    name = filled_case(house)
    reads("ann")
    chairs = house.office.chairs
    ident = chairs.begin(case, 2, "", practice=False)
    for i in range(6):
        await chairs.tell(ident, Event("go", time.time() + 0.001 * i))
    files = list((house.store.vault.home / "chair").rglob("*.jsonl"))
    assert len(files) == 1 and b"canal" not in files[0].read_bytes()
    assert ident not in str(files[0].parent.name) and chairs.book.read(ident)[1]
    reads("eve")
    with pytest.raises(ChairbookError):
        chairs.book.read(ident)

    page = await ann.get(f"/records/case/{name}")
    assert "not kept yet" in page.text
    page = await ann.send(f"/records/case/{name}/chair", session=ident, finished="yes")
    assert "not kept yet" not in page.text
    log = next(e for e in house.store.cases.events(name) if e.kind is Kind.CHAIR)
    assert log.field("canal") == "distal" and log.field("finished") is True and log.field("steps")
    assert (await ann.send(f"/records/case/{name}/chair", session="0" * 16)).status_code == 404


async def test_a_socket_is_cut_when_its_session_locks(house: House, clock: Clock) -> None:
    """What somebody does in the window counts as use; the socket's own chatter does not, and dies with the session."""
    token = house.door.sign_in("ann", GOOD)
    told = iter([(5, '42["event",{}]'), (6, '42["event",{}]'), (11, '42["event",{}]')])
    got: list[Any] = []

    async def receive() -> Any:
        minutes, text = next(told)
        clock.forward(minutes=minutes)
        return {"type": "websocket.receive", "text": text}

    async def window(_: Any, receive: Any, send: Any) -> None:
        got.extend([await receive() for _ in range(3)])

    async def send(_: Any) -> None: ...

    headers = [(b"cookie", f"canalwright={token}".encode())]
    scope = {"type": "websocket", "path": "/_nicegui_ws/socket.io/", "headers": headers, "query_string": b""}
    await Gate(window, house)(scope, receive, send)
    assert [m["type"] for m in got] == ["websocket.receive", "websocket.receive", "websocket.disconnect"]


async def test_a_film_never_lies_on_a_disk_in_the_clear() -> None:
    """Forms are read into memory, however large the film."""
    boundary = b"x" * 20
    head = b'--%b\r\ncontent-disposition: form-data; name="films"; filename="a"\r\n\r\n' % boundary
    body = head + FILM + b"0" * (8 << 20) + b"\r\n--%b--\r\n" % boundary

    async def receive() -> Any:
        return {"type": "http.request", "body": body, "more_body": False}

    headers = [(b"content-type", b"multipart/form-data; boundary=" + boundary)]
    form = await read_form(Request({"type": "http", "method": "POST", "path": "/", "headers": headers}, receive))
    film = form["films"]
    assert isinstance(film, UploadFile) and film.size == len(FILM) + (8 << 20)
    assert film._in_memory
    await form.close()
