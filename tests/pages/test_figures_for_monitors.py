"""What monitoring programs read."""

from __future__ import annotations

from collections.abc import Callable

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from pipelines.answers.now import answer_now
from tests.conftest import Place
from tests.pages.conftest import AT, Browser

Make = Callable[..., Browser]


def test_the_figures_are_openmetrics_and_say_what_the_pages_say(browser: Make, site: Place) -> None:
    """Read back by another parser: prometheus_client's for the OpenMetrics text format (strict about names, units,
    order and the end mark).
    """
    this_browser = browser()
    this_browser.get("/now")
    answer = this_browser.client.get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text") and answer.text.endswith("# EOF\n")
    families = {family.name: family for family in text_string_to_metric_families(answer.text)}
    with site.opened.ledger.reading() as reader:
        pulses = {line.line: line.pulse for line in answer_now(reader, site.plant, AT).lines}
    for name, of in (
        ("line_ware", "ware"),
        ("line_calls", "calls"),
        ("line_rejected", "rejected"),
        ("line_critical_calls", "critical"),
    ):
        seen = {sample.labels["line"]: sample.value for sample in families[f"coldledger_{name}"].samples}
        assert seen == {line: getattr(pulse, of) for line, pulse in pulses.items()}
    answers = {
        (s.labels["route"], s.labels["status"]): s.value
        for s in families["coldledger_http_answers"].samples
        if s.name.endswith("_total")
    }
    assert answers["/now", "200"] >= 1 and not any("K1" in route for route, _ in answers), (
        "routes, not addresses: their number is bounded"
    )


def test_health_says_what_is_wrong(browser: Make, site: Place) -> None:
    answer = browser().client.get("/health").json()
    assert answer["status"] == "ok" and answer["scheduler"] == "not started here" and answer["last_batch"] > 100
