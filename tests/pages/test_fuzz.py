"""The application against its own OpenAPI description: whatever is sent, no 500 and no traceback, for readers and for
people who may write.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode

from pipelines.pages.frame import masked
from pipelines.people.access import People
from pipelines.people.books import Books
from tests.conftest import Place
from tests.pages.conftest import AT, served

MOST = settings(
    max_examples=int(os.environ.get("COLDLEDGER_FUZZ", "16")),
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize="COLDLEDGER_FUZZ" not in os.environ,
)
WHO = ("nobody", "everything")
KNOWN: dict[str, Any] = {
    "line": "K1",
    "day": "2026-03-10",
    "/hour/{day}/{name}.html:name": "K1-06-1100",
    "/day/{name}.html:name": "2026-03-10",
    "furnace": "F2",
    "/holds/{name}:name": "H-0001",
    "batch": 1,
    "/static/{name}:name": "app.js",
    "path": "index.html",
}
# Words that every page's address can hold beside its question.
OWN = st.fixed_dictionaries(
    {},
    optional={
        "sort": st.text(max_size=40) | st.sampled_from(["now.line.asc", "cavities.q.desc", "refused.line.asc"]),
        "as": st.sampled_from(["csv", "xlsx", "x"]) | st.text(max_size=5),
        "table": st.text(max_size=20) | st.sampled_from(["now", "cavities", "refused"]),
        "wall": st.text(max_size=3),
    },
)


@pytest.fixture(scope="module")
def clients(site: Place) -> Iterator[dict[str, tuple[TestClient, str]]]:
    """A reader, and somebody with every role, each with their form token."""
    books = Books(site.site.serve)
    People(books).add("E. Everything", ["supervisor", "quality", "admin"], "seven wide lehrs", AT)
    client = served(site.site.root)
    app = client.app
    token = People(books).sign_in("E. Everything", "seven wide lehrs")
    assert token
    person = People(books).of(token)
    assert person
    signed = TestClient(app, raise_server_exceptions=False, cookies={"coldledger": token})
    yield {"nobody": (client, ""), "everything": (signed, person.form_token)}
    app.state.web.desk.close()  # type: ignore[attr-defined]


@pytest.mark.parametrize("who", WHO)
def test_no_question_brings_it_down(who: str, clients: dict[str, tuple[TestClient, str]]) -> None:
    """Every operation of the description, with values that fit it and values that do not."""
    client, form_token = clients[who]
    schema = schemathesis.openapi.from_dict(client.app.openapi())  # type: ignore[attr-defined]
    operations = [result.ok() for result in schema.get_all_operations()]
    assert len(operations) >= 35
    for operation in operations:
        if who == "everything" and operation.path in ("/sign-out", "/people", "/sign-in"):
            continue  # it would only sign itself out
        _try(operation, client, form_token)


def _try(operation: Any, client: TestClient, form_token: str) -> None:
    @MOST
    @given(
        known=st.booleans(),
        own=OWN,
        case=st.one_of(operation.as_strategy(GenerationMode.POSITIVE), operation.as_strategy(GenerationMode.NEGATIVE)),
    )
    def tried(known: bool, own: dict[str, str], case: schemathesis.Case) -> None:
        if known:  # past the door of names that are not there
            case.path_parameters = {
                name: KNOWN.get(f"{operation.path}:{name}", KNOWN.get(name, value))
                for name, value in (case.path_parameters or {}).items()
            }
        row = case.as_transport_kwargs(base_url="http://testserver")
        row.pop("cookies", None)
        if form_token and isinstance(row.get("data"), dict):
            row["data"]["form_token"] = masked(form_token)
        try:
            request = client.build_request(
                row["method"],
                row["url"],
                params={**(row.get("params") or {}), **own},
                data=row.get("data"),
                headers=_plain(row.get("headers")),
            )
        except (UnicodeError, ValueError, TypeError, httpx.InvalidURL):
            return  # what no browser can send
        answer = client.send(request, follow_redirects=False)
        assert answer.status_code < 500 or answer.status_code == 503, (row, answer.text[:500])
        assert "Traceback" not in answer.text and 'File "/' not in answer.text

    tried()


def _plain(headers: Any) -> dict[str, str]:
    return {
        k: v
        for k, v in dict(headers or {}).items()
        if k.lower() not in ("content-length", "content-type", "host") and v.isascii() and v.isprintable()
    }
