"""Reading is open on loopback; whatever writes needs somebody of the works, their own form, and a role that allows it;
every attempt is kept.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from pipelines.pages.addresses import local
from pipelines.pages.frame import masked, unmasked
from pipelines.pages.web import Options
from pipelines.people.books import Books
from tests.conftest import Place
from tests.pages.conftest import Browser, served

Make = Callable[..., Browser]
FORMS = (
    "/holds",
    "/holds/H-0001",
    "/trace/propose",
    "/feeds/retry",
    "/feeds/refused/1",
    "/signals/S-1/acknowledge",
    "/people",
    "/sign-out",
)


def pallets(site: Place, many: int = 2) -> list[str]:
    with site.opened.ledger.reading() as reader:
        return [str(p) for p in reader.current("pallets").sort("pallet")["pallet"].head(many)]


@pytest.mark.parametrize("address", FORMS)
def test_nobody_writes_who_is_not_signed_in(address: str, browser: Make) -> None:
    answer = browser().client.post(address, data={"form_token": "x"})
    assert answer.status_code == 401 and "signed in" in answer.text


@pytest.mark.parametrize("address", FORMS)
def test_a_form_without_this_sessions_token_is_refused(address: str, browser: Make) -> None:
    this_browser, other = browser("Q. Quality"), browser("S. Shift")
    for token in ("", "x", "AAAA", other.token()):
        assert this_browser.client.post(address, data={"form_token": token}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://other.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_of_another_site_is_refused(headers: dict[str, str], browser: Make) -> None:
    this_browser = browser("Q. Quality")
    answer = this_browser.client.post(
        "/holds",
        data={"form_token": this_browser.token(), "pallets": "1", "why": "w", "evidence": "e"},
        headers=headers,
    )
    assert answer.status_code == 403
    assert browser().client.post("/sign-in", data={"name": "a", "password": "b"}, headers=headers).status_code == 403


@pytest.mark.parametrize(
    ("name", "address", "fields", "allowed"),
    [
        ("R. Reader", "/holds", {"pallets": "1", "why": "w", "evidence": "e"}, False),
        ("A. Admin", "/holds", {"pallets": "1", "why": "w", "evidence": "e"}, False),
        ("S. Shift", "/holds", {"pallets": "unknown", "why": "w", "evidence": "e"}, True),
        ("S. Shift", "/holds/H-0001", {"action": "release", "pallet": "1", "why": "w", "evidence": "e"}, False),
        ("Q. Quality", "/feeds/retry", {}, False),
        ("S. Shift", "/feeds/retry", {}, True),
        ("Q. Quality", "/people", {"name": "x"}, False),
        ("R. Reader", "/signals/none/acknowledge", {}, False),
    ],
)
def test_a_role_allows_what_it_says_and_no_more(
    name: str, address: str, fields: dict[str, str], allowed: bool, browser: Make, site: Place
) -> None:
    """Allowed forms get as far as their content: an unknown pallet is then the works' own refusal, not one of
    rights.
    """
    answer = browser(name).post(address, token_from="/now", **fields)
    assert (answer.status_code != 403) is allowed, answer.text  # type: ignore[attr-defined]
    if not allowed:
        last = Books(site.site.serve).ask("newest_audit", most=1)[0]
        assert last["who"] == name and "role does not allow" in last["outcome"]


def test_a_hold_goes_from_proposal_to_release_in_the_names_of_people(browser: Make, site: Place) -> None:
    first, second = pallets(site)
    shift, quality = browser("S. Shift"), browser("Q. Quality")
    answer = shift.post("/holds", pallets=f"{first} {second}", why="loose glass seen", evidence="shift book, page 12")
    assert answer.status_code == 303  # type: ignore[attr-defined]
    hold = answer.headers["location"].rsplit("/", 1)[1]  # type: ignore[attr-defined]
    page = shift.get(f"/holds/{hold}")
    assert "decided for 2 pallets in your name" in page and "S. Shift" in page and "loose glass seen" in page
    assert "decided for 2 pallets" not in shift.get(f"/holds/{hold}"), "it is said once"
    assert shift.post(f"/holds/{hold}", action="release", pallet=[first], why="w", evidence="e").status_code == 403  # type: ignore[attr-defined]
    done = quality.post(
        f"/holds/{hold}", action="release", pallet=[first], why="sorted whole", evidence="1 511 looked at, none found"
    )
    assert done.status_code == 303  # type: ignore[attr-defined]
    assert (
        quality.post(f"/holds/{hold}", action="release", pallet=[first], why="again", evidence="e").status_code == 400
    )  # type: ignore[attr-defined]
    from pipelines.answers.holds import all_holds

    with site.opened.ledger.reading() as reader:
        this_hold = all_holds(reader)[hold]
    assert this_hold.pallets[first] == "released" and this_hold.pallets[second] == "held"
    assert [(d.action, d.by) for d in this_hold.decisions] == [("place", "S. Shift"), ("release", "Q. Quality")]
    acts = Books(site.site.serve).ask("newest_audit", most=20)
    assert {("S. Shift", "place"), ("Q. Quality", "release")} <= {(a["who"], a["what"]) for a in acts}


def test_a_trace_is_proposed_confirmed_and_its_plan_shown(browser: Make) -> None:
    quality = browser("Q. Quality")
    page = quality.get("/trace?complaint=C-26-001")
    question = re.search(r'name="question" value="([^"]+)"', page)
    assert question and "Propose the shortest list" in page
    answer = quality.post("/trace/propose", which="fewest", question=question[1])
    hold = answer.headers["location"]  # type: ignore[attr-defined]
    page = quality.get(hold)
    ticked = re.findall(r'name="pallet" value="([^"]+)" checked', page)
    assert ticked and "Decide about the proposal" in page
    assert (
        quality.post(
            hold, action="confirm", pallet=ticked, why="agreed with the shift", evidence="the trace"
        ).status_code
        == 303
    )  # type: ignore[attr-defined]
    plan = quality.get(f"{hold}?severity=major&past=%2B%2B-")
    assert "ISO 2859-1" in plan and "Code letter" in plan
    assert quality.client.get(f"{hold}?severity=critical").status_code == 400
    assert quality.client.get(f"{hold}?severity=major&past=abc").status_code == 400


def test_a_decision_needs_a_reason_and_evidence(browser: Make, site: Place) -> None:
    answer = browser("Q. Quality").post("/holds", pallets=pallets(site)[0], why=" ", evidence="e")
    assert answer.status_code == 400 and "for a reason" in answer.text  # type: ignore[attr-defined]


def test_signing_out_ends_the_session_and_a_new_password_ends_all(browser: Make) -> None:
    this_browser = browser("R. Reader")
    token = this_browser.token("/now")
    cookie = this_browser.client.cookies["coldledger"]
    assert this_browser.client.post("/sign-out", data={"form_token": token}, follow_redirects=False).status_code == 303
    other = browser()
    other.client.cookies.set("coldledger", cookie)
    assert "R. Reader" not in other.get("/now")
    admin, again = browser("A. Admin"), browser("R. Reader")
    assert (
        admin.post(
            "/people", token_from="/people", name="R. Reader", password="another quiet bottle", role=["reader"]
        ).status_code
        == 303
    )  # type: ignore[attr-defined]
    assert "R. Reader" not in again.get("/now")
    assert (
        admin.post(
            "/people", token_from="/people", name="R. Reader", password="quiet green bottle", role=["reader"]
        ).status_code
        == 303
    )  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("password", "role"),
    [
        ("short", ["reader"]),
        ("aaaaaaaaaaaaaa", ["reader"]),
        ("the X. New word", ["reader"]),
        ("a good long one", ["chief"]),
        ("a good long one", []),
    ],
)
def test_a_weak_password_or_an_unknown_role_is_refused(password: str, role: list[str], browser: Make) -> None:
    answer = browser("A. Admin").post("/people", token_from="/people", name="X. New", password=password, role=role)
    assert answer.status_code == 400  # type: ignore[attr-defined]


def test_after_five_wrong_passwords_the_next_must_wait(browser: Make) -> None:
    this_browser = browser()
    status_codes = [
        this_browser.client.post("/sign-in", data={"name": "S. Shift", "password": "wrong"}).status_code
        for _ in range(6)
    ]
    assert status_codes == [401] * 5 + [429]
    assert (
        this_browser.client.post("/sign-in", data={"name": "S. Shift", "password": "seven wide lehrs"}).status_code
        == 429
    )


def test_the_cookie_is_for_this_site_and_no_script(site: Place) -> None:
    answer = served(site.site.root).post(
        "/sign-in", data={"name": "Q. Quality", "password": "honest amber glass"}, follow_redirects=False
    )
    found = answer.headers["set-cookie"]
    assert "HttpOnly" in found and "SameSite=lax" in found
    behind = served(
        site.site.root, Options(open_reading=False, address="https://ledger.example", hosts=("testserver",), grace_s=0)
    )
    found = behind.post(
        "/sign-in", data={"name": "Q. Quality", "password": "honest amber glass"}, follow_redirects=False
    ).headers["set-cookie"]
    assert found.startswith("__Host-coldledger=") and "Secure" in found


def test_beyond_this_computer_every_page_needs_a_sign_in(site: Place) -> None:
    client = served(site.site.root, Options(open_reading=False, hosts=("testserver",), grace_s=0))
    for address in (
        "/now",
        "/hour/K1",
        "/feeds",
        "/trace",
        "/holds",
        "/day/2026-03-10.html",
        "/now?as=csv&table=now",
        "/reports/index.html",
        "/feeds/refused/1",
    ):
        answer = client.get(address, follow_redirects=False)
        assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in?to="), address
    assert client.get("/metrics", follow_redirects=False).status_code == 303
    assert client.get("/health").status_code == 200
    client.post("/sign-in", data={"name": "R. Reader", "password": "quiet green bottle"})
    assert client.get("/now").status_code == 200


def test_only_the_hosts_that_were_named_are_answered(browser: Make) -> None:
    assert browser().client.get("/now", headers={"Host": "evil.example"}).status_code == 400


@pytest.mark.parametrize(
    "to",
    [
        "//evil.example",
        "https://evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "/now\r\nSet-Cookie: a=b",
        "",
        "now",
    ],
)
def test_after_a_form_nobody_is_led_to_another_site(to: str, browser: Make) -> None:
    assert local(to) == "/now"
    answer = browser().client.post(
        "/sign-in", data={"name": "Q. Quality", "password": "honest amber glass", "to": to}, follow_redirects=False
    )
    assert answer.headers["location"] == "/now"


def test_a_masked_token_differs_each_time_and_means_the_same() -> None:
    texts = {masked("a-form-token_1") for _ in range(50)}
    assert len(texts) == 50 and {unmasked(text) for text in texts} == {"a-form-token_1"}
    assert unmasked("not base64!") == "" and unmasked("") == ""


def test_the_headers_let_no_foreign_script_frame_or_type_in(browser: Make) -> None:
    for address in ("/now", "/nothing", "/health", "/static/app.js"):
        answer = browser().client.get(address).headers
        assert (
            "script-src 'self'" in answer["content-security-policy"]
            and "frame-ancestors 'none'" in answer["content-security-policy"]
        )
        assert answer["x-content-type-options"] == "nosniff"


def test_a_form_too_large_is_not_read(browser: Make) -> None:
    assert (
        browser()
        .client.post(
            "/sign-in", content=b"a=" + b"x" * (3 << 20), headers={"Content-Type": "application/x-www-form-urlencoded"}
        )
        .status_code
        == 413
    )


def test_people_and_the_audit_trail_are_for_admins(browser: Make) -> None:
    assert browser().client.get("/people", follow_redirects=False).status_code == 303
    assert browser("Q. Quality").client.get("/people").status_code == 403
    page = browser("A. Admin").get("/people")
    assert "Who may do what" in page and "What was done" in page and "$argon2" not in page


def test_books_hold_no_password_and_no_session_token(site: Place, browser: Make) -> None:
    this_browser = browser("Q. Quality")
    data = b"".join(path.read_bytes() for path in site.site.serve.iterdir())
    assert (
        this_browser.client.cookies["coldledger"].encode() not in data
        and b"honest amber glass" not in data
        and b"$argon2id$" in data
    )
