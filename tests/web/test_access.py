"""Sign-in, sessions, forms and what strangers get: over the wire, as a browser would ask."""

import logging
import re
import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import httpx
import pytest
from tests.web.running import served
from tests.web.seed import BEGIN, HEAD, OWNER, Bench, empty_bench
from tests.web.staff import QUICK, STAFF, WORD, Staff, field_of, staffed_server

from spinproof.app.home import open_home
from spinproof.app.people import Place
from spinproof.model.access import ELSEWHERE, ON_SHOP_TABLET, Role
from spinproof.model.errors import GateClosedError
from spinproof.model.tag import tag_of
from spinproof.web.access import NEEDS, Cookies
from spinproof.web.serving import serve

NEW = "a new set of words"


@pytest.fixture(scope="module")
def staff(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staff]:
    with staffed_server(tmp_path_factory.mktemp("staffed")) as running:
        yield running


@pytest.fixture
def owner(staff: Staff) -> Iterator[httpx.Client]:
    with closing(staff.client(Role.OWNER)) as client:
        yield client


def form_of(client: httpx.Client, page: str) -> dict[str, str]:
    text = client.get(page).text
    return {name: field_of(text, name) for name in ("form-token", "form-key")}


def signed_in(staff: Staff, name: str, word: str) -> httpx.Response:
    with closing(staff.stranger()) as client:
        typed = {"name": name, "password": word, "then": "/account"}
        return client.post("/sign-in", data=form_of(client, "/sign-in") | typed)


def nobodys(route: str) -> str:
    """Give a path of a route with ids that are well formed and belong to nobody."""
    well_formed = {"number": "1", "tag": tag_of("NOBODY01")}
    return re.sub(r"{(\w+)}", lambda found: well_formed.get(found[1], "QA-9999-X-001"), route)


# -- strangers


def test_a_stranger_is_sent_to_the_door_and_back(staff: Staff):
    with closing(staff.stranger()) as client:
        answer = client.get("/runs/QA-1041-L-001")
        page = client.get(answer.headers["location"]).text

    assert answer.status_code == 303
    assert field_of(page, "then") == "/runs/QA-1041-L-001"


@pytest.mark.parametrize("route", [r for r in NEEDS if "{" in r and r.startswith("GET")])
def test_a_foreign_id_is_missing_for_staff_and_not_told_to_strangers(
    staff: Staff, owner: httpx.Client, route: str
):
    path = nobodys(route.removeprefix("GET "))
    real = re.sub(r"{job}", "QA-1041", re.sub(r"{head}", HEAD, route.removeprefix("GET ")))
    with closing(staff.stranger()) as stranger:
        unknown, known = stranger.get(path), stranger.get(real)

    assert owner.get(path).status_code == 404
    assert unknown.status_code == known.status_code
    assert unknown.text.replace(path, real) == known.text
    if "{" not in real and not real.startswith("/api/live"):
        assert owner.get(real).status_code == 200


@pytest.mark.parametrize("route", [r for r in NEEDS if "{" in r and r.startswith("POST")])
def test_a_form_about_a_foreign_id_changes_nothing(staff: Staff, owner: httpx.Client, route: str):
    path = nobodys(route.removeprefix("POST "))
    before = staff.desk.people(), staff.desk.devices()
    data = form_of(owner, "/people")
    typed = {"role": "technician", "active": "yes", "why": "a try"}
    typed = {"password": NEW} if path.endswith("password") else typed
    typed = {"why": "a try"} if path.endswith("retire") else typed
    answer = owner.post(path, data=data | typed)

    assert answer.status_code == 404, answer.text
    assert (staff.desk.people(), staff.desk.devices()) == before


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": ""},
        {"origin": "http://127.0.0.1:1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
    ],
    ids=str,
)
def test_a_form_from_another_site_is_refused(
    staff: Staff, owner: httpx.Client, headers: dict[str, str]
):
    typed = {"name": "XX-9", "role": "technician"}
    data = form_of(owner, "/people") | typed
    answer = owner.post("/people", data=data, headers=headers)

    assert answer.status_code == 403
    assert "<code>origin</code>" in answer.text
    assert "XX-9" not in [person.name for person in staff.desk.people()]


def test_a_form_that_names_neither_origin_nor_site_is_refused(staff: Staff):
    with httpx.Client(base_url=staff.address) as client:
        answer = client.post("/sign-in", data={"name": OWNER})

    assert answer.status_code == 403
    assert "<code>origin</code>" in answer.text


def test_another_host_is_refused_before_anything_else(owner: httpx.Client):
    for method in ("GET", "POST"):
        answer = owner.request(method, "/people", headers={"host": "evil.example"})
        assert answer.status_code == 400


@pytest.mark.parametrize("token", [None, "", "x" * 64, "ключ"])
def test_a_form_without_the_visits_own_token_is_refused(
    staff: Staff, owner: httpx.Client, token: str | None
):
    data = {"name": "XX-9", "role": "technician"}
    if token is not None:
        data["form-token"] = token
    answer = owner.post("/people", data=data)

    assert answer.status_code == 403
    assert "XX-9" not in answer.text


def test_a_token_of_another_session_of_the_same_person_is_refused(
    staff: Staff, owner: httpx.Client
):
    foreign = form_of(owner, "/people")
    with closing(staff.client(Role.OWNER)) as other:
        answer = other.post("/people", data=foreign | {"name": "XX-9", "role": "owner"})
    assert answer.status_code == 403


# -- sessions


def test_signing_in_hands_over_a_cookie_that_no_script_and_no_other_site_gets(staff: Staff):
    answer = signed_in(staff, "ow-1", WORD)

    assert (answer.status_code, answer.headers["location"]) == (303, "/account")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{staff.cookies.session}=")
    assert {"HttpOnly", "SameSite=lax", "Path=/"} <= set(cookie.split("; "))
    assert "Domain" not in cookie


def test_over_tls_the_cookie_is_bound_to_the_host():
    assert Cookies.of("ab", secure=True).session == "__Host-spinproof-ab"
    assert Cookies.of("ab", secure=True).secure


@pytest.mark.parametrize("secret", ["", "x", "x" * 43, "' OR 1=1 --", "é"])
def test_a_made_up_session_is_a_strangers(staff: Staff, secret: str):
    with closing(staff.stranger()) as client:
        name = staff.cookies.session
        answer = client.get("/people", headers={"cookie": f"{name}={secret}".encode("latin-1")})
    assert answer.headers["location"] == "/sign-in?then=/people"


def test_a_session_with_one_character_changed_is_a_strangers(staff: Staff):
    secret = staff.sign_in(Role.OWNER)
    changed = ("A" if secret[0] != "A" else "B") + secret[1:]
    with closing(staff.stranger()) as client:
        client.cookies.set(staff.cookies.session, changed)
        assert client.get("/people").status_code == 303
        client.cookies.set(staff.cookies.session, secret)
        assert client.get("/people").status_code == 200


def test_a_session_left_alone_ends(staff: Staff):
    with closing(staff.client(Role.TECHNICIAN, ago_s=ELSEWHERE.idle_s + 5)) as client:
        assert client.get("/account").headers["location"] == "/sign-in?then=/account"
    with closing(staff.client(Role.TECHNICIAN, ago_s=ELSEWHERE.idle_s - 60)) as client:
        assert client.get("/account").status_code == 200


def test_a_session_on_a_tablet_of_the_shop_lasts_a_shift(staff: Staff):
    tablet = Place(device_secret=staff.desk.enrol_device("tablet 7", OWNER, BEGIN))
    for ago_s, status in ((ON_SHOP_TABLET.idle_s - 60, 200), (ON_SHOP_TABLET.idle_s + 5, 303)):
        with closing(staff.client(Role.TECHNICIAN, ago_s=ago_s, place=tablet)) as client:
            assert client.get("/account").status_code == status


def test_changes_to_people_and_passwords_need_a_fresh_proof(staff: Staff):
    new = {"name": "TT-9", "role": "technician"}
    with closing(staff.client(Role.OWNER, ago_s=700)) as client:
        shown = client.get("/people")
        data = form_of(client, "/account?then=/people")
        refused = client.post("/people", data=data | new)
        proof = {"form-token": data["form-token"], "then": "/people"}
        wrong = client.post("/account/proof", data=proof | {"proof": "wrong"})
        right = client.post("/account/proof", data=proof | {"proof": WORD})
        done = client.post("/people", data=data | new)

    assert 'name="role"' not in shown.text
    assert 'href="/account?then=/people"' in shown.text
    assert (refused.status_code, wrong.status_code) == (401, 401)
    assert (right.status_code, right.headers["location"]) == (303, "/people")
    assert done.status_code == 303


def test_signing_out_ends_the_session_for_good(staff: Staff):
    with closing(staff.client(Role.PRESENTER)) as client:
        secret = client.cookies[staff.cookies.session]
        client.post("/sign-out", data=form_of(client, "/account"))
        client.cookies.set(staff.cookies.session, secret)
        assert client.get("/account").status_code == 303


def test_signing_out_everywhere_ends_every_session(staff: Staff):
    with (
        closing(staff.client(Role.PRESENTER)) as one,
        closing(staff.client(Role.PRESENTER)) as other,
    ):
        one.post("/account/sign-out-everywhere", data=form_of(one, "/account"))
        assert one.get("/account").status_code == 303
        assert other.get("/account").status_code == 303


@pytest.mark.parametrize("then", ["//evil.example", "https://evil.example", "/\\evil.example"])
def test_the_door_leads_nowhere_else(staff: Staff, then: str):
    with closing(staff.stranger()) as client:
        page = client.get("/sign-in", params={"then": then}).text
        typed = {"name": OWNER, "password": WORD, "then": then}
        answer = client.post("/sign-in", data=form_of(client, "/sign-in") | typed)

    assert field_of(page, "then") == "/"
    assert answer.headers["location"] == "/"


def test_a_wrong_password_is_answered_as_an_unknown_name_is(staff: Staff):
    wrong = signed_in(staff, OWNER, "not the right one")
    unknown = signed_in(staff, "nobody", "not the right one")

    assert wrong.status_code == unknown.status_code == 401
    told = [re.findall('role="alert".*', answer.text) for answer in (wrong, unknown)]
    assert told[0] == told[1] != []


# -- forms


def test_a_double_tap_has_one_effect(staff: Staff, owner: httpx.Client):
    data = form_of(owner, "/people") | {"name": "TT-7", "role": "technician"}
    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(lambda _: owner.post("/people", data=data), range(6)))

    assert {(a.status_code, a.headers["location"]) for a in answers} == {(303, "/people")}
    assert [p.name for p in staff.desk.people()].count("TT-7") == 1


def test_what_was_typed_stands_in_the_form_again_and_its_error_beside_it(owner: httpx.Client):
    data = form_of(owner, "/people") | {"name": '"><script>', "role": "king"}
    answer = owner.post("/people", data=data)

    assert answer.status_code == 422
    assert 'value="&#34;&gt;&lt;script&gt;"' in answer.text
    assert "Choose one of: owner, technician, inspector, presenter." in answer.text
    assert field_of(answer.text, "form-key") != data["form-key"]


def test_a_field_that_the_form_does_not_have_is_refused(staff: Staff, owner: httpx.Client):
    data = form_of(owner, "/people") | {"name": "XX-9", "role": "technician", "active": "no"}
    answer = owner.post("/people", data=data)

    assert answer.status_code == 422
    assert "XX-9" not in [person.name for person in staff.desk.people()]


def test_a_program_gets_the_same_in_json(owner: httpx.Client):
    accept = {"accept": "application/json"}
    data = form_of(owner, "/people")
    wrong = owner.post("/people", data=data | {"name": "", "role": "owner"}, headers=accept)
    right = owner.post("/people", data=data | {"name": "TT-8", "role": "owner"}, headers=accept)

    assert wrong.json()["fields"] == {"name": "Fill this in."}
    assert set(wrong.json()) == {"what", "where", "mend", "code", "fields"}
    assert right.json() == {"location": "/people"}


@pytest.mark.parametrize("kind", ["application/json", "text/plain", ""])
def test_a_body_that_is_no_form_is_refused(owner: httpx.Client, kind: str):
    answer = owner.post("/people", content=b"{}", headers={"content-type": kind})
    assert answer.status_code == 415


def test_a_body_that_is_too_large_is_refused_whether_it_says_so_or_not(owner: httpx.Client):
    kind = {"content-type": "multipart/form-data; boundary=x"}
    head = b'--x\r\nContent-Disposition: form-data; name="f"; filename="f"\r\n\r\n'
    large = head + b"x" * 1_100_000 + b"\r\n--x--\r\n"
    said = owner.post("/people", content=large, headers=kind)
    silent = owner.post("/people", content=iter([large[:600_000], large[600_000:]]), headers=kind)

    assert (said.status_code, silent.status_code) == (413, 413)
    assert "<code>size</code>" in said.text
    assert "<code>size</code>" in silent.text


@pytest.mark.parametrize(
    "body", [b"name=%ff%00&form-token=%zz", b"&&&==&", b"a=1&" * 500, b"\xff\xfe", b""]
)
def test_a_hostile_body_never_makes_the_program_fail(owner: httpx.Client, body: bytes):
    kind = {"content-type": "application/x-www-form-urlencoded"}
    multipart = {"content-type": "multipart/form-data; boundary=x"}
    for headers in (kind, multipart):
        answer = owner.post("/people", content=body, headers=headers)
        assert answer.status_code in {400, 403, 422}


# -- secrets


def test_no_secret_is_told_in_answers_logs_or_records(
    staff: Staff, caplog: pytest.LogCaptureFixture
):
    caplog.set_level(logging.DEBUG)
    hidden = ("the tested password 1", "the tested password 2", "284617")
    with closing(staff.client(Role.OWNER)) as client:
        pages = [
            client.post(
                "/account/password",
                data=form_of(client, "/account")
                | {"password": hidden[0], "password_again": hidden[1]},
            ),
            client.post("/account/pin", data=form_of(client, "/account") | {"pin": hidden[2]}),
            client.post(
                "/sign-in",
                data=form_of(client, "/account") | {"name": OWNER, "password": hidden[0]},
            ),
            client.get("/account"),
            client.get("/people"),
        ]
        secret = client.cookies[staff.cookies.session]
    with staff.bench.ledger.reading() as records:
        trail = repr(records.audit())
    file = staff.bench.home.root / "ledger.db"
    with closing(sqlite3.connect(file)) as connection:
        dump = "\n".join(connection.iterdump())

    for text in (*hidden, secret):
        assert all(text not in page.text for page in pages)
        assert text not in trail
        assert text not in dump
        assert text not in caplog.text.replace(f"name={text}", "")


# -- the first visit, and other machines


def test_the_first_visit_makes_the_owner(tmp_path: Path):
    with served(open_home(tmp_path), passwords=QUICK) as address:
        base = address.rstrip("/")
        with httpx.Client(base_url=base, headers={"origin": base}) as client:
            assert client.get("/").headers["location"] == "/welcome"
            data = form_of(client, "/welcome") | {"name": "OW-1"}
            led_to = [client.post("/welcome", data=data).headers["location"] for _ in range(2)]
            page = client.get("/")

    assert led_to == ["/", "/"]
    assert "OW-1, owner at this machine" in page.text


def test_the_welcome_is_gone_once_somebody_is_there(staff: Staff):
    with closing(staff.stranger()) as client:
        answer = client.get("/welcome")
        data = form_of(client, "/sign-in") | {"name": "XX-9"}
        client.post("/welcome", data=data)

    assert answer.status_code == 410
    assert "<code>gone</code>" in answer.text
    assert "XX-9" not in [person.name for person in staff.desk.people()]


@pytest.mark.parametrize("header", ["x-forwarded-for", "forwarded", "via", "x-real-ip"])
def test_who_comes_through_a_go_between_is_never_taken_for_the_owner(
    bench: Bench, client: httpx.Client, header: str
):
    assert client.get("/").status_code == 200
    assert client.get("/", headers={header: "127.0.0.1"}).status_code == 303


def test_nothing_listens_wider_until_an_owner_has_a_password(tmp_path: Path):
    bench = empty_bench(tmp_path)
    bench.ledger.close()
    for wider in ({"host": "0.0.0.0"}, {"allowed_hosts": ("bench.shop",)}):  # noqa: S104 - asked for
        with pytest.raises(GateClosedError, match="no owner has a password"):
            serve(bench.home, port=0, plain=True, **wider)


def test_from_other_machines_the_owner_signs_in_first_with_the_code(tmp_path: Path):
    codes: list[str] = []
    with staffed_server(tmp_path, beyond=True, on_code=codes.append) as away:
        with closing(away.stranger()) as client:
            page = client.get("/sign-in").text
            data = form_of(client, "/sign-in") | {"password": WORD}
            early = client.post("/sign-in", data=data | {"name": STAFF[Role.TECHNICIAN]})
            owner = client.post("/sign-in", data=data | {"name": OWNER, "code": codes[0]})
        late = signed_in(away, STAFF[Role.TECHNICIAN], WORD)

    assert "Code from the console" in page
    assert "<option" not in page  # names are not offered to strangers
    assert [early.status_code, owner.status_code, late.status_code] == [401, 303, 303]
